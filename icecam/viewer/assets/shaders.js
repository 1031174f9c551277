/** How the ice is lit. Heights lie in a texture, one number a cell. */

const SHARED = `
precision highp float;
precision highp int;
precision highp sampler2D;
uniform sampler2D heights;
uniform sampler2D wanted;
uniform mat4 view;
uniform vec3 grid;    // x0, y0, pitch
uniform ivec2 size;
uniform vec3 block;
uniform vec3 eye;
uniform vec3 light;
uniform vec4 section; // axis direction x, y; where; 1 if cut
uniform float detail;
uniform bool layer;
uniform bool fine;

float cellHeight(ivec2 cell) {
  return texelFetch(heights, clamp(cell, ivec2(0), size - 1), 0).r;
}
float heightAt(vec2 place) {
  vec2 p = (place - grid.xy) / grid.z;
  ivec2 c = ivec2(floor(p));
  vec2 f = p - floor(p);
  return mix(mix(cellHeight(c), cellHeight(c + ivec2(1, 0)), f.x),
             mix(cellHeight(c + ivec2(0, 1)), cellHeight(c + ivec2(1, 1)), f.x), f.y);
}
bool cutAway(vec2 place) {
  return section.w > 0.5 && dot(place, section.xy) > section.z;
}
vec4 wantedAt(vec2 place) {
  ivec2 cell = clamp(ivec2(round((place - grid.xy) / grid.z)), ivec2(0), size - 1);
  float v = texelFetch(wanted, cell, 0).r;
  return vec4(abs(v) - 1.0, v < 0.0 ? 1.0 : 0.0, v == 0.0 ? 0.0 : 1.0, 0.0);
}
const vec3 DEEP = vec3(0.30, 0.49, 0.60);
const vec3 PALE = vec3(0.86, 0.94, 0.97);
const vec3 AMBER = vec3(0.93, 0.62, 0.16);
const vec3 RUST = vec3(0.62, 0.25, 0.05);
const vec3 PLUM = vec3(0.45, 0.20, 0.50);
`;

export const ICE_VERTEX = `${SHARED}
uniform int stride;
out vec3 place;
void main() {
  ivec2 cell = min(ivec2(gl_VertexID >> 1, gl_InstanceID + (gl_VertexID & 1)) * stride, size - 1);
  vec2 xy = grid.xy + vec2(cell) * grid.z;
  xy = mix(xy, vec2(0.0), vec2(equal(cell, ivec2(0))));
  xy = mix(xy, block.xy, vec2(equal(cell, size - 1)));
  place = vec3(xy, cellHeight(cell));
  gl_Position = view * vec4(place, 1.0);
}`;

export const ICE_FRAGMENT = `${SHARED}
in vec3 place;
out vec4 colour;

vec3 slopeAt(vec2 xy, float step) {
  float dx, dy;
  if (fine) {
    dx = heightAt(xy + vec2(step, 0.0)) - heightAt(xy - vec2(step, 0.0));
    dy = heightAt(xy + vec2(0.0, step)) - heightAt(xy - vec2(0.0, step));
  } else {
    ivec2 c = ivec2(round((xy - grid.xy) / grid.z));
    dx = cellHeight(c + ivec2(1, 0)) - cellHeight(c - ivec2(1, 0));
    dy = cellHeight(c + ivec2(0, 1)) - cellHeight(c - ivec2(0, 1));
    step = grid.z;
  }
  return normalize(vec3(-dx, -dy, 2.0 * step));
}
float openness(vec2 xy, float z) {
  float shut = 0.0;
  for (int n = 0; n < 8; n++) {
    float angle = float(n) * 0.785398 + 0.3;
    vec2 way = vec2(cos(angle), sin(angle));
    for (float reach = 3.0; reach < 40.0; reach *= 3.4) {
      float away = reach * max(grid.z, block.x * 0.0012);
      float rise = cellHeight(ivec2(round((xy + way * away - grid.xy) / grid.z))) - z;
      shut += clamp(rise / away, 0.0, 1.5) / 1.5;
    }
  }
  return clamp(1.0 - 1.5 * shut / 24.0, 0.35, 1.0);
}
void main() {
  if (cutAway(place.xy)) discard;
  vec3 n = slopeAt(place.xy, grid.z * 0.9);
  float open = fine ? openness(place.xy, place.z) : 0.9;
  vec3 base = mix(DEEP, PALE, 0.40 + 0.60 * clamp(place.z / block.z, 0.0, 1.0));
  float half1 = 0.5 + 0.5 * dot(n, light);
  float lit = half1 * half1;
  float sky = 0.6 + 0.4 * n.z;
  float gloss = pow(max(dot(n, normalize(light + eye)), 0.0), 48.0);
  float rim = pow(1.0 - max(dot(n, eye), 0.0), 3.0);
  if (layer) {
    vec4 goal = wantedAt(place.xy);
    float left = (place.z - goal.x) * max(n.z, 0.15);
    if (goal.z > 0.5 && left > detail) {
      float thick = clamp(log2(left / detail) / 6.0, 0.0, 1.0);
      vec3 tint = mix(AMBER, RUST, thick);
      if (goal.y > 0.5) {
        float bar = fract((gl_FragCoord.x + gl_FragCoord.y) / 9.0);
        tint = bar < 0.5 ? PLUM : mix(PLUM, PALE, 0.55);
      }
      base = mix(base, tint, 0.72);
    }
  }
  vec3 shadow = mix(vec3(0.34, 0.50, 0.62), vec3(1.0), lit);
  vec3 made = base * shadow * (0.36 * sky + 0.78 * lit) * mix(0.58, 1.0, open)
            + vec3(0.16) * gloss * open + vec3(0.04, 0.07, 0.09) * rim * open;
  colour = vec4(pow(clamp(made, 0.0, 1.0), vec3(0.80)), 1.0);
}`;

export const WALL_VERTEX = `${SHARED}
uniform vec4 ends; // x, y of both ends
out vec3 place;
void main() {
  vec2 xy = (gl_VertexID & 1) == 0 ? ends.xy : ends.zw;
  place = vec3(xy, gl_VertexID < 2 ? 0.0 : block.z);
  gl_Position = view * vec4(place, 1.0);
}`;

export const WALL_FRAGMENT = `${SHARED}
uniform vec3 normal;
uniform bool inside; // the section, not a side
in vec3 place;
out vec4 colour;
void main() {
  if (!inside && cutAway(place.xy)) discard;
  vec2 edge = clamp(place.xy, grid.xy, grid.xy + vec2(size - 1) * grid.z);
  float top = heightAt(edge);
  if (place.z > top) discard;
  vec3 base = mix(DEEP, PALE, 0.42 + 0.54 * clamp(place.z / block.z, 0.0, 1.0));
  if (!inside) {
    float half1 = 0.5 + 0.5 * dot(normal, light);
    float lit = half1 * half1;
    vec3 made = base * mix(vec3(0.34, 0.50, 0.62), vec3(1.0), lit) * (0.40 + 0.66 * lit);
    colour = vec4(pow(made, vec3(0.80)), 1.0);
    return;
  }
  vec4 goal = wantedAt(place.xy);
  vec3 made = mix(PALE, DEEP, 0.25) * 0.93;
  if (goal.z > 0.5) {
    made = place.z <= goal.x ? vec3(0.36, 0.53, 0.63) : mix(AMBER, vec3(1.0), 0.35);
    if (place.z > goal.x && goal.y > 0.5 && fract((gl_FragCoord.x + gl_FragCoord.y) / 9.0) < 0.5)
      made = PLUM;
    if (place.z > goal.x && place.z - goal.x < detail) made = vec3(0.36, 0.53, 0.63);
  }
  float tens = abs(fract(place.z / 10.0 + 0.5) - 0.5) * 10.0 / max(fwidth(place.z), 1e-4);
  made *= tens < 0.6 ? 0.86 : 1.0;
  float rim = (top - place.z) / max(fwidth(place.z), 1e-4);
  colour = vec4(rim < 1.6 ? vec3(0.06, 0.16, 0.22) : made, 1.0);
}`;

export const BED_VERTEX = `${SHARED}
out vec3 place;
void main() {
  vec2 corner = vec2(gl_VertexID & 1, gl_VertexID >> 1);
  float room = 0.25 * max(block.x, block.y);
  place = vec3(mix(vec2(-room), block.xy + room, corner), -0.05);
  gl_Position = view * vec4(place, 1.0);
}`;

export const BED_FRAGMENT = `${SHARED}
uniform vec3 paper;
uniform vec3 ink;
uniform float spacing;
in vec3 place;
out vec4 colour;
void main() {
  vec2 off = abs(fract(place.xy / spacing + 0.5) - 0.5) * spacing / max(fwidth(place.xy), 1e-4);
  vec2 out2 = max(max(-place.xy, place.xy - block.xy), 0.0);
  float far = length(out2) / (0.25 * max(block.x, block.y));
  float line = min(off.x, off.y) < 0.6 ? 0.28 : 0.0;
  float shade = 0.16 * exp(-far * 9.0);
  colour = vec4(mix(paper, ink, (line + shade) * clamp(1.0 - far, 0.0, 1.0)), 1.0);
}`;

export const SOLID_VERTEX = `
precision highp float;
precision highp int;
uniform mat4 view;
uniform vec3 tip;
in vec3 place;
in vec3 normal;
in float shade;
out vec3 n;
out float tone;
void main() {
  n = normal;
  tone = shade;
  gl_Position = view * vec4(place + tip, 1.0);
}`;

export const SOLID_FRAGMENT = `
precision highp float;
precision highp int;
uniform vec3 light;
uniform vec3 eye;
uniform float alpha;
in vec3 n;
in float tone;
out vec4 colour;
void main() {
  vec3 u = normalize(n);
  float lit = 0.42 + 0.5 * max(dot(u, light), 0.0);
  float edge = smoothstep(0.0, 0.35, abs(dot(u, eye)));
  float gloss = pow(max(dot(u, normalize(light + eye)), 0.0), 30.0);
  vec3 metal = mix(vec3(0.30, 0.33, 0.36), vec3(0.80, 0.83, 0.85), tone);
  colour = vec4(metal * lit * mix(0.45, 1.0, edge) + 0.25 * gloss, alpha);
}`;

export const LINE_VERTEX = `
precision highp float;
precision highp int;
uniform mat4 view;
uniform float raise;
in vec3 a;
in float kind;
flat out float rapid;
out float along;
out vec2 plan;
void main() {
  rapid = 1.0 - kind;
  plan = a.xy;
  along = dot(a, vec3(1.0, 0.73, 0.61));
  gl_Position = view * vec4(a.xy, a.z + raise, 1.0);
}`;

export const BAND_VERTEX = `
precision highp float;
precision highp int;
uniform mat4 view;
uniform vec2 screen; // px
uniform float thick; // px
uniform float raise;
in vec3 a;
in vec3 b;
in float kind;
flat out float rapid;
out float along;
out vec2 plan;
void main() {
  bool end = gl_VertexID == 1 || gl_VertexID == 3 || gl_VertexID == 4;
  float side = (gl_VertexID == 2 || gl_VertexID == 3 || gl_VertexID == 5) ? 1.0 : -1.0;
  vec4 p = view * vec4(a.xy, a.z + raise, 1.0);
  vec4 q = view * vec4(b.xy, b.z + raise, 1.0);
  vec2 way = (q.xy - p.xy) * screen;
  float length2 = dot(way, way);
  way = length2 > 1e-9 ? way * inversesqrt(length2) : vec2(1.0, 0.0);
  rapid = 1.0 - kind;
  plan = (end ? b : a).xy;
  along = dot(end ? b : a, vec3(1.0, 0.73, 0.61));
  vec2 off = vec2(-way.y, way.x) * side * thick * (rapid > 0.5 ? 0.5 : 1.0)
           + way * (end ? 1.0 : -1.0) * thick * 0.5;
  gl_Position = (end ? q : p) + vec4(off / screen, 0.0, 0.0);
}`;

export const LINE_FRAGMENT = `
precision highp float;
precision highp int;
uniform vec4 cutting;
uniform vec4 travel;
uniform float dash;  // mm; 0 for a whole line
uniform float dots;  // mm
uniform vec4 section;
flat in float rapid;
in float along;
in vec2 plan;
out vec4 colour;
void main() {
  if (section.w > 0.5 && dot(plan, section.xy) > section.z) discard;
  if (rapid > 0.5) {
    if (fract(along / dots) > 0.45) discard;
    colour = travel;
    return;
  }
  if (dash > 0.0 && fract(along / dash) > 0.6) discard;
  colour = cutting;
}`;
