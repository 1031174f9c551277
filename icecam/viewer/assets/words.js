/** How numbers are said. */

/** Hours, minutes and seconds: 1:04:09. */
export function clockWords(seconds) {
  const whole = Math.max(0, Math.floor(seconds + 1e-6));
  const two = (value) => String(value).padStart(2, "0");
  return `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}`;
}

/** Hours and minutes in words: 2 h 05 min. */
export function spokenTime(seconds) {
  const minutes = Math.floor((seconds + 1e-6) / 60);
  if (minutes < 1) return `${Math.floor(seconds + 1e-6)} s`;
  if (minutes < 60) return `${minutes} min`;
  return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
}

/** Watts with two figures. */
export function wattWords(watts) {
  return watts >= 9.95 ? `${Math.round(watts)} W` : `${watts.toFixed(1)} W`;
}
