// Where the labels of marked places stand on a chart.

/** How many rows of labels stand above each other at most. */
const rows = 3;

/**
 * Where labels of marked places stand, so that none is on another: in the first row
 * that is free there, to the left of its place where the edge is near. One that
 * finds no room is left out, and comes when the chart is looked into.
 * @param {{at: number, width: number}[]} labels from left to right
 * @param {number} left
 * @param {number} right
 * @param {number} gap between a line and its label
 * @returns {({row: number, from: number}|null)[]}
 */
export function placed(labels, left, right, gap) {
  const ends = Array(rows).fill(-Infinity);
  return labels.map(({ at, width }) => {
    if (width === 0 || width > right - left) return null;
    const after = at + gap, before = at - gap - width, from = after + width > right ? before : after;
    const row = ends.findIndex((end) => end <= from);
    if (row < 0 || from < left) return null;
    ends[row] = from + width + 2 * gap;
    return { row, from };
  });
}
