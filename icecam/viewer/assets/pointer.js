/** Mouse, touch pad and touch on the picture: turn, move, magnify, point. */

const STILL = 6;

/**
 * One finger or the left button turns, the right button or shift moves, two fingers move and
 * magnify, the wheel magnifies, a click that does not move points.
 * @param {HTMLElement} root
 * @param {import("./camera.js").Camera} camera
 * @param {{changed: () => void, point: (x: number, y: number) => void, turns: () => boolean}} tell
 */
export function listenToPointer(root, camera, tell) {
  const fingers = new Map();
  let travelled = 0;
  const place = (event) => {
    const box = root.getBoundingClientRect();
    return [event.clientX - box.left - root.clientLeft, event.clientY - box.top - root.clientTop];
  };
  const fromMiddle = (x, y) => [
    (x - camera.size[0] / 2),
    (camera.size[1] / 2 - y),
  ];

  root.addEventListener("contextmenu", (event) => event.preventDefault());
  root.addEventListener("pointerdown", (event) => {
    if (event.target.closest("button, .dr-found")) return;
    root.setPointerCapture(event.pointerId);
    root.focus({ preventScroll: true });
    if (fingers.size === 0) travelled = 0;
    fingers.set(event.pointerId, { at: place(event), moves: event.button === 2 || event.shiftKey });
  });
  root.addEventListener("pointermove", (event) => {
    const finger = fingers.get(event.pointerId);
    if (!finger) return;
    const [x, y] = place(event);
    const [dx, dy] = [x - finger.at[0], y - finger.at[1]];
    travelled += Math.hypot(dx, dy);
    if (fingers.size === 1) {
      if (finger.moves || !tell.turns()) camera.pan(dx, dy);
      else camera.orbit(dx * 0.008, dy * 0.008);
    } else if (fingers.size === 2) {
      const other = [...fingers.values()].find((one) => one !== finger).at;
      const before = Math.hypot(finger.at[0] - other[0], finger.at[1] - other[1]);
      const after = Math.hypot(x - other[0], y - other[1]);
      camera.pan(dx / 2, dy / 2);
      if (before > 10) camera.zoom(after / before, ...fromMiddle((x + other[0]) / 2, (y + other[1]) / 2));
    }
    finger.at = [x, y];
    tell.changed();
  });
  const end = (event) => {
    if (!fingers.delete(event.pointerId)) return;
    if (event.type === "pointerup" && fingers.size === 0 && travelled < STILL) {
      tell.point(...place(event));
    }
  };
  root.addEventListener("pointerup", end);
  root.addEventListener("pointercancel", end);
  root.addEventListener(
    "wheel",
    (event) => {
      if (!root.contains(document.activeElement) && !event.ctrlKey) return;
      event.preventDefault();
      const lines = event.deltaMode === 1 ? 16 : 1;
      camera.zoom(Math.exp(-event.deltaY * lines * 0.0016), ...fromMiddle(...place(event)));
      tell.changed();
    },
    { passive: false },
  );
}
