/* What surrounds every screen: the head with the state of the record, notices, the dock for the thumb. */

import { action, focusKey, isTyping, refocus } from "./frame_parts.js";
import { keptOf } from "./kept.js";
import * as kits from "./kit.js";
import * as offline from "./offline.js";
import * as outbox from "./outbox.js";
import { asPractised, isPractice } from "./practice.js";
import { addressOf } from "./router.js";
import { unclear } from "./second.js";
import { bigButton, byId, clearToast, h } from "./ui.js";
import * as vault from "./vault.js";
import { CLOCK_ALLOWED, clockOffset } from "./wire.js";
import { dayOf, hours, t, timeOf, tn } from "./words.js";

/** Screens that stand before the others: nowhere to go from them. */
const BEFORE = new Set(["lock", "choose", "taken", "first", "gone"]);
/** Screens whose steps come before anything else that has to be told. */
const STEPS_FIRST = new Set(["danger", "flow"]);
/** As much of the window may the dock and the head take together before they make room. */
const DOCK_MOST = 0.6;
/** In a window that is lower than this the mark of a practice takes the place of what is to be touched. */
const LOW_PX = 600;

/** Ready is a phone on which the night opens again without a network, whatever else may be so. @param {Ctx} ctx */
function readyWords(ctx) {
  if (offline.isReady()) return { tone: "good", words: ctx.online() ? t("Ready") : t("No network: everything works") };
  if (!ctx.online()) return { tone: "stop", words: t("No network, and not everything is kept"), to: "storage" };
  return offline.isComing()
    ? { tone: "plain", words: t("Not ready yet: being kept on this phone"), to: "storage" }
    : { tone: "care", words: t("Not ready for a night without a network"), to: "storage" };
}

/** In a few words where the record stands: on this phone, at the unit, waiting. @param {Ctx} ctx */
function stateWords(ctx) {
  const waiting = outbox.list().filter((each) => each.state !== "open");
  const kept = ctx.night && keptOf(ctx.night);
  if (isPractice(ctx)) return { tone: "care", words: t("Practice: nothing is sent"), to: "tonight" };
  if (!vault.state().ok || kept?.state === "failed")
    return { tone: "stop", words: t("Not kept on this phone"), to: "storage" };
  if (waiting.some((each) => each.state === "damaged")) return { tone: "stop", words: t("An entry cannot be read") };
  if (waiting.length && waiting.every((each) => each.state === "conflict"))
    return { tone: "care", words: t("A question: two phones") };
  if (waiting.length) return { tone: "care", words: tn("{n} waits to be sent", "{n} wait to be sent", waiting.length) };
  if (!ctx.night || ctx.night.delivered) return readyWords(ctx);
  if (ctx.night.sentAt && !outbox.list().some((each) => each.id === ctx.night.id))
    return { tone: "good", words: t("At the unit, {time}", { time: timeOf(ctx.night.sentAt) }) };
  return kept?.state === "writing"
    ? { tone: "plain", words: t("Being kept on this phone …") }
    : { tone: "plain", words: t("Kept on this phone, {time}", { time: timeOf(kept?.at ?? ctx.night.touched_at) }) };
}

/** How a writing ended, in the words of the head alone: what a finger or the focus lies on stays. @param {Ctx} ctx */
export function tellState(ctx) {
  const link = byId("head").querySelector(".state");
  if (!link) return;
  const { tone, words, to = "queue" } = stateWords(ctx);
  if (tone === "stop") clearToast(); // nothing stands in the place of a word that the record is not kept
  link.className = `state ${tone}`;
  link.setAttribute("href", addressOf(to));
  /** @type {Element} */ (link.lastElementChild).textContent = words;
}

/** @param {Ctx} ctx */
function drawHead(ctx, name) {
  const { tone, words, to = "queue" } = stateWords(ctx);
  const [helper, patient] = [ctx.kit?.account?.name, ctx.kit?.patient?.name ?? ""];
  const who = helper && helper !== patient ? t("{helper} for {patient}", { helper, patient }) : patient;
  const before = BEFORE.has(name);
  const back =
    name === "tonight" || before
      ? null
      : h(
          "button",
          {
            type: "button",
            class: "icon back",
            aria: { label: t("Back") },
            data: { k: "back" },
            on: { click: ctx.back },
          },
          "‹",
        );
  byId("head").replaceChildren(
    ...[
      back,
      h(
        "a",
        { class: `state ${tone}`, href: addressOf(to), data: { k: "state" } },
        h("span", { class: "who", text: who }),
        h("span", { text: words }),
      ),
      before
        ? null
        : h("a", { class: "icon", href: addressOf("more"), aria: { label: t("More") }, data: { k: "more" } }, "≡"),
      byId("undo"),
    ].filter((each) => each !== null),
  );
}

/** @param {Ctx} ctx */
const storageWords = (ctx) => {
  const state = vault.state();
  if (state.taken) return null;
  if (state.denied)
    return t("This phone's storage is refused: the record is only in this window. Touch to see what to do.");
  if (state.full)
    return t("This phone's storage is full: what you enter now is only in this window. Touch to see what to do.");
  if (ctx.night && keptOf(ctx.night).state === "failed")
    return t("The last entry could not be kept on this phone: it is only in this window. Touch to see what to do.");
  return state.evicted ? t("The browser has cleared what was kept on this phone. Touch to see what that means.") : null;
};

/** Told at home, before a night is begun and while one is in hand. @param {Ctx} ctx */
function pageWords(ctx) {
  if (!ctx.kit?.patient || offline.isReady() || offline.isComing()) return null;
  return t(
    "Without a network this phone could not open your night again. Keep this page open and the paper sheet at hand. " +
      "Touch to see what is missing.",
  );
}

/** What wants a person before it can reach the unit. */
function stuckWords() {
  const states = new Set(outbox.list().map((each) => each.state));
  if (states.has("damaged")) return t("Something kept on this phone cannot be read any more. Touch to see what to do.");
  if (states.has("refused") || states.has("failed"))
    return t("Something could not be handed over to the unit. Touch to see what and why.");
  return states.has("conflict") ? t("Two phones wrote different answers. Touch to say which is right.") : null;
}

/** Another treatment runs beside the one in hand, and nobody said that it is another. @param {Ctx} ctx */
function besideWords(ctx) {
  const [other] = ctx.kit?.patient ? unclear(ctx) : [];
  return other
    ? t("Another treatment runs since {time}. Touch to say whether it is the same.", { time: timeOf(other.started_at) })
    : null;
}

function clockWords() {
  const offset = clockOffset();
  if (offset == null || Math.abs(offset) <= CLOCK_ALLOWED) return null;
  const far = hours(Math.round(Math.abs(offset) / 60_000));
  return offset > 0
    ? t(
        "This phone's clock is {far} h ahead of the unit's. Times stay as the phone has them; the unit sees the " +
          "difference.",
        { far },
      )
    : t(
        "This phone's clock is {far} h behind the unit's. Times stay as the phone has them; the unit sees the " +
          "difference.",
        { far },
      );
}

/** @param {Ctx} ctx */
function kitWords(ctx) {
  if (!ctx.kit?.kept_at || !kits.isOld(ctx.now().getTime())) return null;
  return t(
    "What the unit sent is from {day}, over a week old. Connect to the network before you rely on the prescription.",
    { day: dayOf(ctx.kit.kept_at) },
  );
}

/** What has to be told on every screen -> nodes; each leads to the screen about it. @param {Ctx} ctx */
function notices(ctx, name) {
  const told = [
    [storageWords(ctx), "storage", "stop"],
    [name === "tonight" && pageWords(ctx), "storage", "care"],
    [stuckWords(), "queue", "care"],
    [besideWords(ctx), "second", "stop"],
    [clockWords(), "queue", "care"],
    [kitWords(ctx), "settings", "care"],
    [
      outbox.pulse.signedOut && outbox.list().length
        ? t("Sign in again: then what waits goes to the unit by itself.")
        : null,
      "queue",
      "care",
    ],
    [
      ctx.night &&
      ctx.kit &&
      ctx.night.stage !== "handed" &&
      !ctx.night.correcting &&
      ctx.kit.prescription &&
      ctx.night.prescriptionVersion !== ctx.kit.prescription.version
        ? t("The prescription changed after this night was begun. Look at what changed.")
        : null,
      "changes",
      "care",
    ],
    [ctx.update && !ctx.busy() ? t("A new version is ready. Touch to take it.") : null, "settings", "plain"],
  ];
  return told
    .filter(([words, to]) => words && to !== name)
    .map(([words, to, tone]) => h("a", { class: `notice ${tone}`, href: addressOf(to), data: { k: to } }, words));
}

/**
 * The main action on top (none where the answers stand in the text), beneath it the others and, in the thumb's corner
 * of every screen, the way to help.
 * @param {Ctx} ctx
 */
function drawDock(ctx, screen, params, name) {
  const actions = screen.bar ? screen.bar(ctx, params).filter(Boolean) : [];
  const [main, ...rest] = actions.map((each, index) => action(ctx, each, index));
  const help =
    name === "danger"
      ? null
      : h(
          "button",
          { type: "button", class: "big alarm", id: "wrong", on: { click: () => ctx.go("danger") } },
          h("span", { text: t("Something is wrong") }),
        );
  const marked = isPractice(ctx) && name !== "lock";
  byId("dock").replaceChildren(
    ...(marked ? [h("p", { class: "practice", text: t("Practice. Nothing is sent; a call is a real call.") })] : []),
    ...(main ? [h("div", { class: "arc" }, main)] : []),
    h("div", { class: "foot" }, h("div", { id: "rest" }, rest), help),
  );
  fitDock();
}

/**
 * With very large letters or in a low window the dock would hide what it is about: then the other actions go to the end
 * of the screen's text, and the head scrolls away. Measured, for letters grow in more ways than a style can ask about.
 */
export function fitDock() {
  const [rest, foot] = [byId("rest"), byId("dock").lastElementChild];
  if (!rest) return;
  fitMark(document.querySelector(".practice"));
  document.documentElement.classList.remove("tight");
  foot?.prepend(rest);
  const tight = byId("dock").offsetHeight + byId("head").offsetHeight > DOCK_MOST * window.innerHeight;
  document.documentElement.classList.toggle("tight", tight);
  if (tight) byId("screen").append(rest);
}

/**
 * The mark of a practice stands over the dock; in a low window it would hide numbers to call, and closes the screen
 * instead: the head says it too. @param {HTMLElement | null} mark
 */
function fitMark(mark) {
  if (!mark) return;
  if (window.innerHeight < LOW_PX) byId("screen").append(mark);
  else byId("dock").prepend(mark);
}

/** The head alone: what somebody has opened on the screen stays open. @param {Ctx} ctx */
export function redrawHead(ctx) {
  if (byId("head").children.length) drawHead(ctx, document.documentElement.dataset.screen);
}

/** @param {Ctx} ctx */
function failed(ctx, problem) {
  console.error("A screen could not be drawn", problem);
  return [
    h(
      "div",
      { class: "note stop", role: "alert" },
      h("p", { text: t("This screen cannot be shown. Nothing that you entered is lost.") }),
    ),
    bigButton(t("To tonight"), () => ctx.go("tonight"), { tone: "go" }),
  ];
}

function safely(act, fallback) {
  try {
    return act();
  } catch (problem) {
    return fallback(problem);
  }
}

/**
 * Draw one screen into the frame. `fresh`: it was gone to, so it begins at its top with the focus on its heading.
 * @param {Ctx} ctx
 */
export function drawFrame(ctx, { name, params }, asked, fresh) {
  const screen = asPractised(ctx, asked);
  const key = fresh ? null : focusKey();
  if (!fresh && isTyping()) return drawHead(ctx, name);
  const inside =
    byId("screen").contains(document.activeElement) ||
    byId("dock").contains(document.activeElement) ||
    byId("head").contains(document.activeElement);
  const title = safely(
    () => screen.title(ctx, params),
    () => t("Tonight"),
  );
  const heading = h("h1", { tabindex: "-1", text: title });
  const body = safely(
    () => screen.draw(ctx, params),
    (problem) => failed(ctx, problem),
  );
  document.documentElement.dataset.screen = name;
  document.documentElement.classList.toggle("light-frame", Boolean(screen.light));
  drawHead(ctx, name);
  const told = notices(ctx, name);
  const parts = [heading, ...[body].flat(9).filter(Boolean)];
  byId("screen").replaceChildren(...(STEPS_FIRST.has(name) ? [...parts, ...told] : [...told, ...parts]));
  safely(
    () => drawDock(ctx, screen, params, name),
    (problem) => {
      failed(ctx, problem);
      drawDock(ctx, {}, params, name);
    },
  );
  document.title = [isPractice(ctx) && t("Practice"), title, t("Home dialysis")].filter(Boolean).join(" – ");
  if (fresh) {
    clearToast();
    window.scrollTo(0, 0);
    heading.focus({ preventScroll: true });
  } else if (inside) refocus(key);
}
