/** The job as the page got it: one zlib stream of a JSON head and named sections. */

/**
 * @typedef {object} Packed where a section lies
 * @property {number} at
 * @property {number} count
 * @property {number} planes 0 for plain bytes
 * @property {boolean} steps differences were stored
 */

const MARK = 61;
const SHIFT = 64;

/**
 * Bytes that stand in the page as letters of windows-1252, a few of them behind a mark.
 * @param {string} text
 * @returns {Uint8Array}
 */
export function bytesOf(text) {
  const letters = new TextDecoder("windows-1252").decode(Uint8Array.from({ length: 256 }, (_, n) => n));
  const byteOf = new Uint8Array(0x10000);
  for (let byte = 0; byte < 256; byte++) byteOf[letters.charCodeAt(byte)] = byte;
  const bytes = new Uint8Array(text.length);
  let count = 0;
  for (let at = 0; at < text.length; at++) {
    const byte = byteOf[text.charCodeAt(at)];
    bytes[count++] = byte === MARK ? byteOf[text.charCodeAt(++at)] - SHIFT : byte;
  }
  return bytes.subarray(0, count);
}

/**
 * Inflate a zlib stream.
 * @param {Uint8Array} packed
 * @returns {Promise<Uint8Array>}
 */
export async function inflate(packed) {
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

/**
 * Whole numbers out of their byte planes.
 * @param {Uint8Array} body all sections
 * @param {Packed} place
 * @returns {Int32Array}
 */
function wholeNumbers(body, place) {
  const numbers = new Int32Array(place.count);
  for (let plane = 0; plane < place.planes; plane++) {
    const from = place.at + plane * place.count;
    const shift = 8 * plane;
    for (let n = 0; n < place.count; n++) numbers[n] |= body[from + n] << shift;
  }
  let last = 0;
  for (let n = 0; n < place.count; n++) {
    const folded = numbers[n];
    const value = (folded >>> 1) ^ -(folded & 1);
    last = place.steps ? last + value : value;
    numbers[n] = last;
  }
  return numbers;
}

/**
 * Everything the dry run needs, unpacked.
 * @param {Uint8Array} raw inflated
 */
export function unpack(raw) {
  const length = new DataView(raw.buffer, raw.byteOffset).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(raw.subarray(4, 4 + length)));
  const body = raw.subarray(4 + length);
  const numbers = (name) => wholeNumbers(body, head.sections[name]);
  const bytes = (name) => {
    const place = head.sections[name];
    return body.subarray(place.at, place.at + place.count);
  };
  let before = 0;
  const stages = head.stages.map((told, nth) => {
    const stage = stageOf(told, nth, before, numbers, bytes);
    before += stage.count;
    return stage;
  });
  return {
    head,
    stages,
    moves: before,
    frames: {
      moves: numbers("frame moves"),
      counts: numbers("frame counts"),
      tiles: numbers("frame tiles"),
      low: bytes("drops low"),
      high: bytes("drops high"),
    },
    wanted: numbers("wanted"),
    unreached: bytes("unreached"),
  };
}

/** One stage: what is told of it, its moves as arrays, its load. Lengths in mm, times in s. */
function stageOf(told, nth, before, numbers, bytes) {
  const clock = numbers(`clock ${nth}`);
  return {
    ...told,
    nth,
    before,
    count: clock.length,
    tick: told.unit / 10 ** told.decimals,
    x: numbers(`x ${nth}`),
    y: numbers(`y ${nth}`),
    z: numbers(`z ${nth}`),
    clock,
    kindOf: Uint8Array.from(numbers(`kind ${nth}`)),
    feed: numbers(`feed ${nth}`),
    line: numbers(`line ${nth}`),
    text: bytes(`text ${told.file}`),
    first: numbers(`first ${nth}`),
    length: numbers(`moves ${nth}`),
    power: numbers(`power ${nth}`),
    chip: numbers(`chip ${nth}`),
    taken: numbers(`taken ${nth}`),
    profile: { ...told.profile, flank: told.profile.flank ?? Infinity },
  };
}

/**
 * Place of point n of a stage, in block coordinates, mm.
 * @param {number[]} [into] takes it, where many are asked for
 */
export function pointOf(stage, n, into = [0, 0, 0]) {
  into[0] = stage.x[n] * stage.tick + stage.zero[0];
  into[1] = stage.y[n] * stage.tick + stage.zero[1];
  into[2] = stage.z[n] * stage.tick + stage.zero[2];
  return into;
}
