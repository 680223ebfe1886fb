/* The nights before this one, as the kit has them: last time's numbers stand beside what is asked for. */

/** The nights that were handed over and began before this one, newest first. @param {Ctx} ctx @param {Night} [night] */
export function nightsBefore(ctx, night = ctx.night) {
  const began = Date.parse(night?.doc.started_at ?? ctx.now().toISOString());
  return (ctx.kit.history ?? []).filter((each) => Date.parse(each.started_at) < began);
}

/** A number of the last of them that has it, or null. @param {Ctx} ctx @param {Night} [night] */
export const lastTime = (ctx, night) => (path) =>
  nightsBefore(ctx, night).find((each) => each[path] != null)?.[path] ?? null;

/**
 * The weight after the treatment before this one, or null: the gain is counted from that one alone, as at the unit.
 * @param {Ctx} ctx @param {Night} [night]
 */
export const lastPost = (ctx, night) => nightsBefore(ctx, night)[0]?.post_weight_kg ?? null;
