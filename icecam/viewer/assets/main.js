/** Begin: unpack the job, open the dry run, listen. */
import { stageStep } from "./colours.js";
import { bytesOf, inflate, unpack } from "./data.js";
import { DryRun } from "./dry_run.js";
import { listenToKeys } from "./keys.js";
import { tieControls } from "./panel.js";
import { listenToPointer } from "./pointer.js";

async function begin() {
  const root = document.getElementById("dry-run");
  const held = document.getElementById("dry-run-data");
  const job = unpack(await inflate(bytesOf(held.textContent)));
  held.remove();
  nameStages(root, job);
  const run = new DryRun(root, job);
  tieControls(run, root);
  listenToPointer(run.picture, run.camera, {
    changed: () => run.redraw(),
    point: (x, y) => run.pointAt(x, y),
    turns: () => !run.flat,
  });
  listenToKeys(root, run.picture, {
    ...methodsOf(run),
    help: () => root.querySelector("#dr-keys").showModal(),
  });
  new ResizeObserver(() => run.resize()).observe(run.picture);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => run.recolour());
  run.resize();
  run.tell();
  root.dataset.ready = String(Math.round(performance.now()));
  window.dryRun = run;
}

/** The methods of an object, each tied to it. */
function methodsOf(object) {
  const names = Object.getOwnPropertyNames(Object.getPrototypeOf(object));
  return Object.fromEntries(names.map((name) => [name, (...given) => object[name](...given)]));
}

/** Title of the dry run, and a colour for each stage. */
function nameStages(root, job) {
  const { head, stages } = job;
  root.querySelector("#dr-what").textContent = `${head.project}: ${head.sculpture}`;
  stages.forEach((_, nth) => {
    const step = Math.min(6, stageStep(nth, stages.length));
    root.style.setProperty(`--dr-stage-${nth + 1}`, `var(--stage-${step})`);
  });
}

begin().catch((fault) => {
  const note = document.getElementById("dr-note");
  note.textContent =
    `The dry run could not be opened: ${fault.message}. ` +
    "Open this file in a browser of 2023 or later.";
  note.hidden = false;
  throw fault;
});
