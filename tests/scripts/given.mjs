/* The tables that tests/scripts/tables.py made, and the scripts under test. */

import { readFileSync } from "node:fs";

export const tables = JSON.parse(readFileSync(process.env.TABLES, "utf-8"));
export const script = (name) => import(new URL(`../../sessions/static/bedside/js/${name}`, import.meta.url).href);

/** Numbers that look like chance and are the same each time: mulberry32, from memory. */
export function chance(seed) {
  let state = seed >>> 0;
  const next = () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
  return { next, below: (most) => Math.floor(next() * most), pick: (list) => list[Math.floor(next() * list.length)] };
}
