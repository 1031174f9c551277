/** Colours of the page, as its style sheet has them, for what is drawn. */

/** Read a colour of the style sheet as three numbers from 0 to 1. */
function threeOf(text) {
  const hex = text.trim().replace("#", "");
  return [0, 2, 4].map((at) => parseInt(hex.slice(at, at + 2), 16) / 255);
}

/** Colour of a stage: dark to pale over as many stages as there are. */
export function stageStep(nth, count) {
  return count < 2 ? 1 : 1 + Math.round((nth * 5) / (Math.max(count, 4) - 1));
}

/** All colours for a number of stages. */
export function readColours(count) {
  const style = getComputedStyle(document.documentElement);
  const read = (name) => style.getPropertyValue(`--${name}`).trim();
  const steps = Array.from({ length: count }, (_, nth) => Math.min(6, stageStep(nth, count)));
  return {
    paper: threeOf(read("page")),
    ink: threeOf(read("text")),
    page: read("page"),
    surface: read("surface"),
    text: read("text"),
    quiet: read("text-quiet"),
    edge: read("edge"),
    accent: read("dr-accent"),
    warning: read("warning"),
    refused: read("refused"),
    font: read("font"),
    stages: steps.map((step) => read(`stage-${step}`)),
    stageParts: steps.map((step) => threeOf(read(`stage-${step}`))),
    onStages: steps.map((step) => read(step <= 3 ? "on-stage-dark" : "on-stage-pale")),
    cut: threeOf(read("dr-cut")),
    next: threeOf(read("dr-next")),
    rapid: threeOf(read("dr-rapid")),
  };
}
