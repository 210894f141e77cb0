// What waits for what: the one place that says whether an entry must wait for one that was typed before it.
// An entry changes some things, and is read by others. It waits while an earlier one, not stored yet, changes
// what it is read by; everything else goes past. An entry that somebody waits for with a network never waits
// for one that was refused.
"use strict";

const MOVES = new Set(["flip", "replace"]);
/** What a person decides about before it is sent again. */
const DECIDED = new Set(["refused", "moved", "asked", "gone"]);

/**
 * - A start and a stop change what runs on their press: no run of it begins before they are stored.
 * - A run by the hour meter counts its hours from what was pressed and read before it. One by hours or times
 *   stands for itself, and waits for no other run.
 * - A sheet is all of its runs: it waits for what any of them would wait for.
 * - A new meter changes how later readings of it are read.
 * - A move (fit, flip, replace, take off, swap) changes what sits at its place; moves of that place, and work
 *   on what sits there, are read by it.
 * - A change of the crop with another die is such a move; one that leaves the dies on waits for nothing.
 * - Notes, gauges, incidents and work on a press as a whole wait for nothing.
 *
 * @param {HTMLFormElement} form its `data-queue` names the kind of entry
 * @param {FormData} data
 * @returns {{changes: string[], needs: string[]}} names of things, like "place 7"
 */
function orderOf(form, data) {
  const kind = form.dataset.queue || "";
  const said = (/** @type {string} */ name) => String(data.get(name) || "");
  const press = form.dataset.press || said("press");
  const [running, hours, meter] = [`running ${press}`, `hours ${press}`, `meter ${press}`];
  const byMeter = said("meter_h") ? [hours, meter] : [];
  const newMeter = data.has("new_meter") ? [meter] : [];
  if (kind === "run" && data.has("start")) return { changes: [running], needs: [running] };
  if (kind === "run") return { changes: [hours, ...newMeter], needs: [running, ...byMeter] };
  if (kind === "stop") return { changes: [running, hours], needs: byMeter };  // the server knows the run already
  if (kind === "reading") return { changes: [hours, ...newMeter], needs: [meter] };
  if (kind === "sheet") {
    const lines = [...data.keys()].filter((name) => /-(seed|meter_h|hours_h)$/.test(name) && said(name));
    const pressOf = (/** @type {string} */ name) => press || /^press(\d+)-/.exec(name)?.[1] || "";
    const of = (/** @type {string[]} */ names) => [...new Set(names.map(pressOf))];
    const metered = of(lines.filter((name) => name.endsWith("-meter_h"))).flatMap((one) => [`hours ${one}`, `meter ${one}`]);
    const presses = of(lines);
    return {
      changes: presses.map((one) => `hours ${one}`),
      needs: [...presses.map((one) => `running ${one}`), ...metered],
    };
  }
  if (kind === "crop-change") {
    const moved = [...data.keys()].filter((name) => name.startsWith("die_") && !["", "keep"].includes(said(name)));
    const there = moved.map((name) => name.slice("die_".length)).flatMap((place) => [`place ${place}`, `fitting ${said(`fitting_${place}`)}`]);
    return { changes: there, needs: there };
  }
  const place = form.dataset.place || said("position");
  const sits = [said("fitting"), said("second")].filter(Boolean).map((one) => `fitting ${one}`);
  const there = [...(place ? [`place ${place}`] : []), ...sits];
  if (kind === "move" || MOVES.has(said("action"))) return { changes: there, needs: there };
  if (kind === "work" && sits.length) return { changes: [], needs: there };
  return { changes: [], needs: [] };
}

/** @param {Entry} entry @returns {boolean} whether it is a person's turn */
const isDecided = (entry) => !!entry.answer && !entry.again && DECIDED.has(entry.answer.state);

/**
 * @param {Entry} entry
 * @param {Entry[]} all what is not stored yet, the oldest first
 * @returns {Entry[]} those that it waits for
 */
function waitsFor(entry, all) {
  if (entry.again) return [];  // it has been sent with a network; only the answer got lost
  const place = all.findIndex((one) => one.id === entry.id);
  const before = all.slice(0, Math.max(place, 0)).filter((one) => one.who === entry.who);  // the others may be away for good
  return before.filter((one) => one.changes?.some((thing) => entry.needs?.includes(thing)));
}

/** @param {Entry} entry @param {Entry[]} all @returns {Entry | undefined} the one at the head of those that it waits for */
function headOf(entry, all) {
  const before = waitsFor(entry, all);
  const first = before.find(isDecided) || before[0];
  return first && (headOf(first, all) || first);
}
