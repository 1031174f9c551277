/** Keys of the dry run. They rest while a field is filled in or another part of the page is read. */

const TURN = 0.08;
const MOVE = 40;

/**
 * @param {HTMLElement} root the dry run
 * @param {HTMLElement} picture
 * @param {object} run what keys can do
 */
export function listenToKeys(root, picture, run) {
  const seen = () => {
    const box = root.getBoundingClientRect();
    return box.top < window.innerHeight * 0.6 && box.bottom > window.innerHeight * 0.3;
  };
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const inside = root.contains(event.target);
    if (!inside && !(event.target === document.body && seen())) return;
    if (event.target.closest("input, select, dialog")) return;
    if (event.target.closest("button, summary") && [" ", "Enter"].includes(event.key)) return;
    const does = (event.target === picture && pictureKey(event, run)) || keyOf(event, run);
    if (!does) return;
    event.preventDefault();
    does();
  });
}

/** Arrows on the picture. */
function pictureKey(event, run) {
  const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (!way) return null;
  if (event.shiftKey) return () => run.pan(-MOVE * way[0], -MOVE * way[1]);
  return () => run.orbit(TURN * way[0], TURN * way[1]);
}

/** What a key does, or null. */
function keyOf(event, run) {
  const { key, shiftKey } = event;
  if (/^[1-9]$/.test(key)) return () => run.toStage(Number(key) - 1);
  const keys = {
    " ": run.play,
    ArrowRight: () => (shiftKey ? run.by(10) : run.step(1)),
    ArrowLeft: () => (shiftKey ? run.by(-10) : run.step(-1)),
    ArrowUp: () => run.step(1),
    ArrowDown: () => run.step(-1),
    PageDown: () => run.byStage(1),
    PageUp: () => run.byStage(-1),
    Home: () => run.toTime(0),
    End: () => run.toTime(Infinity),
    "<": () => run.faster(-1),
    ",": () => run.faster(-1),
    ">": () => run.faster(1),
    ".": () => run.faster(1),
    d: run.deepest,
    l: run.highest,
    w: () => run.warning(shiftKey ? -1 : 1),
    a: () => run.look("above"),
    f: () => run.look("front"),
    b: () => run.look("back"),
    q: () => run.look("left"),
    e: () => run.look("right"),
    c: () => run.look("corner"),
    x: () => run.open("x"),
    y: () => run.open("y"),
    "[": () => run.slide(-1),
    "]": () => run.slide(1),
    "+": () => run.zoom(1.25),
    "=": () => run.zoom(1.25),
    "-": () => run.zoom(0.8),
    i: () => run.toggle("left"),
    p: () => run.toggle("path"),
    t: () => run.toggle("bit"),
    m: () => run.toggle("marks"),
    "?": run.help,
  };
  return keys[key.length === 1 ? key.toLowerCase() : key] ?? null;
}
