/* The bedside's scripts are modules by the way a page loads them, not by their names: node is told so here. */

import { register } from "node:module";

const hook = `export async function load(url, context, next) {
  const ours = url.includes("/static/bedside/js/") && url.endsWith(".js");
  return next(url, ours ? { ...context, format: "module" } : context);
}`;
register(`data:text/javascript,${encodeURIComponent(hook)}`);
