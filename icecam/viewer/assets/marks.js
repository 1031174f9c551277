/** Marks: their moment, their list, and where they stand in the picture. */
import { timeAfter } from "./clock.js";
import { drawMark } from "./ribbon.js";
import { clockWords } from "./words.js";

const KINDS = {
  fault: "Refused",
  warning: "Warning",
  wall: "Thin wall",
  load: "Load",
  deepest: "Deepest",
  left: "Ice left",
};

/** Marks with the time each belongs to: of its move, of its stage's begin, or of the end. */
export function timedMarks(job) {
  return job.head.marks.map((mark) => {
    const moment = mark.move !== null;
    let time = mark.kind === "warning" || mark.kind === "fault" ? 0 : job.head.seconds;
    if (moment) time = timeAfter(job, mark.stage, mark.move);
    else if (mark.stage !== null) time = job.stages[mark.stage].start;
    return { ...mark, time, moment };
  });
}

/** Fill the list; each entry jumps to its moment. */
export function listMarks(list, marks, go) {
  for (const mark of marks) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = `dr-mark dr-mark-${mark.kind}`;
    const kind = button.appendChild(document.createElement("b"));
    kind.textContent = KINDS[mark.kind];
    const words = button.appendChild(document.createElement("span"));
    words.textContent = mark.words;
    const when = button.appendChild(document.createElement("small"));
    when.textContent = markPlace(mark);
    button.addEventListener("click", () => go(mark));
    list.appendChild(document.createElement("li")).appendChild(button);
  }
}

/** Stage and time of a mark, in words. */
function markPlace(mark) {
  const stage = mark.stage === null ? "" : `stage ${mark.stage + 1}`;
  const time = mark.moment ? `at ${clockWords(mark.time)}` : "";
  return [stage, time].filter(Boolean).join(", ");
}

/** Draw the marks that have a place over the picture. */
export function drawMarks(pen, marks, camera, colours, chosen) {
  for (const mark of marks) {
    if (!mark.at) continue;
    const [x, y] = camera.project(mark.at);
    if (mark === chosen) {
      pen.strokeStyle = colours.accent;
      pen.lineWidth = 3;
      pen.beginPath();
      pen.arc(x, y, 16, 0, 2 * Math.PI);
      pen.stroke();
    }
    drawMark(pen, mark.kind, x, y, colours);
  }
}

/** Mark under a place of the picture; null for none. */
export function markUnder(marks, camera, px, py) {
  let best = null;
  let least = 14;
  for (const mark of marks) {
    if (!mark.at) continue;
    const [x, y] = camera.project(mark.at);
    const away = Math.hypot(x - px, y - py);
    if (away < least) {
      least = away;
      best = mark;
    }
  }
  return best;
}
