/** Small helpers over WebGL2: programs, the texture of heights, buffers. */

/** Compile a program and find its uniforms by name. */
export function program(gl, vertex, fragment) {
  const made = gl.createProgram();
  for (const [type, text] of [
    [gl.VERTEX_SHADER, vertex],
    [gl.FRAGMENT_SHADER, fragment],
  ]) {
    const shader = gl.createShader(type);
    gl.shaderSource(shader, `#version 300 es\n${text}`);
    gl.compileShader(shader);
    gl.attachShader(made, shader);
  }
  gl.linkProgram(made);
  if (!gl.getProgramParameter(made, gl.LINK_STATUS) && !gl.isContextLost()) {
    const logs = gl.getAttachedShaders(made).map((shader) => gl.getShaderInfoLog(shader));
    throw new Error(`shader: ${logs.join(" ")} ${gl.getProgramInfoLog(made)}`);
  }
  const at = {};
  const count = gl.getProgramParameter(made, gl.ACTIVE_UNIFORMS);
  for (let n = 0; n < count; n++) {
    const { name } = gl.getActiveUniform(made, n);
    at[name] = gl.getUniformLocation(made, name);
  }
  return { made, at };
}

/** A texture of one number a cell. */
export function fieldTexture(gl, unit, width, height, values) {
  const texture = gl.createTexture();
  gl.activeTexture(gl.TEXTURE0 + unit);
  gl.bindTexture(gl.TEXTURE_2D, texture);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.NEAREST);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, gl.NEAREST);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE);
  gl.texImage2D(gl.TEXTURE_2D, 0, gl.R32F, width, height, 0, gl.RED, gl.FLOAT, values);
  return texture;
}

/** Send the cells of a box to a texture. */
export function sendBox(gl, unit, texture, width, values, box) {
  gl.activeTexture(gl.TEXTURE0 + unit);
  gl.bindTexture(gl.TEXTURE_2D, texture);
  gl.pixelStorei(gl.UNPACK_ROW_LENGTH, width);
  gl.pixelStorei(gl.UNPACK_SKIP_PIXELS, box.i0);
  gl.pixelStorei(gl.UNPACK_SKIP_ROWS, box.j0);
  const wide = box.i1 - box.i0 + 1;
  const high = box.j1 - box.j0 + 1;
  gl.texSubImage2D(
    gl.TEXTURE_2D, 0, box.i0, box.j0, wide, high, gl.RED, gl.FLOAT, values,
  );
  gl.pixelStorei(gl.UNPACK_ROW_LENGTH, 0);
  gl.pixelStorei(gl.UNPACK_SKIP_PIXELS, 0);
  gl.pixelStorei(gl.UNPACK_SKIP_ROWS, 0);
}

/** A buffer with fixed content. */
export function buffer(gl, values) {
  const made = gl.createBuffer();
  gl.bindBuffer(gl.ARRAY_BUFFER, made);
  gl.bufferData(gl.ARRAY_BUFFER, values, gl.STATIC_DRAW);
  return made;
}

/** Whether this browser can draw the block; the reason if not. */
export function webgl(canvas) {
  const gl = canvas.getContext("webgl2", { antialias: true, alpha: false });
  if (!gl) return { gl: null, why: "this browser has no WebGL2, or its graphics card is blocked" };
  return { gl, why: "" };
}
