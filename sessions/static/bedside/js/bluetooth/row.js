/*
 * The row that takes a value over from a cuff or a scale. What reads them comes with the other screens, so that the
 * first one is soon there; until then there is none.
 */

/** @type {typeof import("./measure.js").measureRow} */
let made = () => null;

/** later.js brings it. @param {typeof made} row */
export const bringMeasureRow = (row) => {
  made = row;
};

/** @type {typeof made} */
export const measureRow = (ctx, kind, paths) => made(ctx, kind, paths);
