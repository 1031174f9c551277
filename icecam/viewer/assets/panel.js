/** Buttons, boxes and fields of the dry run, tied to it. */
import { lineText } from "./clock.js";
import { listMarks } from "./marks.js";
import { placeUnder, toldOf } from "./pick.js";
import { SPEEDS } from "./dry_run.js";

const SHOWN = [
  ["bit", "Bit, shank, collet nut"],
  ["near", "Just cut, and what comes next"],
  ["left", "Ice left on the sculpture"],
  ["marks", "Marks"],
];

/** Wire everything up. */
export function tieControls(run, root) {
  const find = (id) => root.querySelector(`#dr-${id}`);
  const click = (id, does) => find(id).addEventListener("click", does);
  click("play", () => run.play());
  click("step-back", () => run.step(-1));
  click("step-on", () => run.step(1));
  click("stage-back", () => run.byStage(-1));
  click("stage-on", () => run.byStage(1));
  click("slower", () => run.faster(-1));
  click("faster", () => run.faster(1));
  click("deepest", () => run.deepest());
  click("highest", () => run.highest());
  click("warning", () => run.warning(1));
  click("help", () => find("keys").showModal());
  for (const button of root.querySelectorAll("[data-view]")) {
    button.addEventListener("click", () => run.look(button.dataset.view));
  }
  tieShown(run, find);
  tieSection(run, find);
  tieFind(run, find);
  tieFound(run, find);
  listMarks(find("marks"), run.marks, (mark) => run.toMark(mark));
  const warns = run.marks.some((mark) => mark.kind === "warning" || mark.kind === "fault");
  find("warning").disabled = !warns;
  run.listen(() => {
    find("play").textContent = run.playing ? "Stop" : "Play";
    find("play").setAttribute("aria-pressed", String(run.playing));
    find("speed").textContent = SPEEDS[run.speed] === 1 ? "as it runs" : `${SPEEDS[run.speed]} times`;
  });
}

/** A tick box with its label. */
function tickBox(parent, words, on, changed) {
  const label = parent.appendChild(document.createElement("label"));
  label.className = "dr-tick";
  const box = label.appendChild(document.createElement("input"));
  box.type = "checkbox";
  box.checked = on;
  label.append(` ${words}`);
  box.addEventListener("change", () => changed(box.checked));
  return box;
}

/** What is shown, and the paths of which stages. */
function tieShown(run, find) {
  const boxes = SHOWN.map(([name, words]) => [
    name,
    tickBox(find("show"), words, run.show[name], () => run.toggle(name)),
  ]);
  const current = tickBox(find("paths"), "Stage at this moment", true, () => run.toggle("path"));
  run.job.stages.forEach((stage, nth) => {
    const box = tickBox(find("paths"), `${nth + 1}  ${stage.bit}`, false, (on) => {
      run.show.paths[nth] = on;
      run.redraw();
    });
    const swatch = document.createElement("i");
    swatch.className = "dr-swatch";
    swatch.style.background = `var(--dr-stage-${nth + 1})`;
    box.after(swatch);
  });
  run.listen(() => {
    for (const [name, box] of boxes) box.checked = run.show[name];
    current.checked = run.show.current;
  });
}

/** Where the picture is cut open. */
function tieSection(run, find) {
  const side = () => run.job.head.block[run.section.axis === "x" ? 0 : 1];
  find("section-on").addEventListener("change", () => run.open(run.section.axis));
  find("section-axis").addEventListener("change", () => {
    run.section.on = false;
    run.open(find("section-axis").value);
  });
  find("section-at").addEventListener("input", () => {
    run.section.at = (find("section-at").value / 1000) * side();
    if (!run.section.on) run.open(run.section.axis);
    run.tell();
    run.redraw();
  });
  run.listen(() => {
    const { on, axis, at } = run.section;
    find("section-on").checked = on;
    find("section-axis").value = axis;
    find("section-at").value = String(Math.round((1000 * at) / side()));
    const words = `${axis === "x" ? "X" : "Y"} ${at.toFixed(0)} mm`;
    find("section-words").textContent = words;
    find("section-at").setAttribute("aria-valuetext", words);
  });
}

/** The machine stopped at a line: show the block as it stands there. */
function tieFind(run, find) {
  const files = find("find-file");
  run.job.stages.forEach((stage, nth) => {
    const option = files.appendChild(document.createElement("option"));
    option.value = String(nth);
    option.textContent = run.job.stages.some((one) => one !== stage && one.file === stage.file)
      ? `${stage.file}, stage ${nth + 1}`
      : stage.file;
  });
  const limit = () => {
    const stage = run.job.stages[Number(files.value)];
    find("find-line").max = String(stage.line[stage.count - 1]);
  };
  files.addEventListener("change", limit);
  limit();
  find("find").addEventListener("submit", (event) => {
    event.preventDefault();
    run.toLine(Number(files.value), Number(find("find-line").value));
  });
}

/** What was found under a click on the ice. */
function tieFound(run, find) {
  let told = null;
  run.pointAt = (px, py) => {
    const mark = run.markAt(px, py);
    if (mark) {
      run.toMark(mark);
      find("found-words").textContent = `${mark.words[0].toUpperCase()}${mark.words.slice(1)}.`;
      find("found-go").hidden = true;
      find("found").hidden = false;
      return null;
    }
    const place = placeUnder(run.ice, run.camera, run.section, px, py);
    told = place && toldOf(run.job, run.ice, place, lineText);
    find("found").hidden = !told;
    if (!told) return null;
    find("found-words").textContent = told.words;
    find("found-go").hidden = told.move < 0;
    return told;
  };
  find("found-close").addEventListener("click", () => {
    find("found").hidden = true;
    run.picture.focus();
  });
  find("found-go").addEventListener("click", () => {
    const stage = run.job.stages[told.stage];
    run.toMove(told.stage, told.move - stage.before + 1);
  });
}
