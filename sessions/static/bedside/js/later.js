/* The screens that the first one can do without: fetched when it stands, and kept by the worker with the rest. */

import { measureRow } from "./bluetooth/measure.js";
import { bringMeasureRow } from "./bluetooth/row.js";
import { bringFallback } from "./cards.js";
import { FALLBACK } from "./fallback_cards.js";

import "./screens/home.js";
import "./screens/welcome.js";
import "./screens/settings.js";
import "./screens/more.js";
import "./screens/queue.js";
import "./screens/conflict.js";
import "./screens/storage.js";
import "./screens/open.js";
import "./screens/second.js";
import "./screens/not_tonight.js";
import "./screens/helper.js";
import "./screens/changes.js";
import "./screens/messages.js";
import "./screens/checks.js";
import "./screens/weigh.js";
import "./screens/finish.js";
import "./screens/summary.js";
import "./screens/answer.js";
import "./screens/nights.js";
import "./screens/trends.js";
import "./screens/takeout.js";
import "./screens/paper.js";
import "./screens/due.js";
import "./screens/surroundings.js";
import "./screens/access.js";
import "./screens/needles.js";
import "./screens/no_place.js";
import "./screens/medicine.js";

bringMeasureRow(measureRow);
bringFallback(/** @type {any} */ (FALLBACK));
