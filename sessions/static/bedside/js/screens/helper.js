/* For a second pair of hands: what happens now, what to do now and what not, and the way to the cards. */

import { callButtons } from "../calls.js";
import { eventWords } from "../choices.js";
import { course, fluidSoFar } from "../course.js";
import { courseWords, lastPressure, notAtEnd, overBy } from "../flow_state.js";
import { ofCatheter } from "../needle_sites.js";
import { notAtEndNotes } from "../not_at_end.js";
import { withUnit } from "../numbers.js";
import { endedWords } from "../others.js";
import { wordsOf } from "../ready.js";
import { register } from "../router.js";
import { runningBeside } from "../second.js";
import { bigButton, dl, h, note } from "../ui.js";
import { hours, t, timeOf } from "../words.js";

/** What a second pair of hands does, by the stage. Common practice, no source: the unit's training comes first. */
const HANDS = (catheter) => ({
  none: [t("Nothing runs. Keep the unit's number and this phone where both of you reach them.")],
  before: [
    t("Read each check aloud, look where it says, and only then touch “Good”."),
    t("Hand over what is asked for; touch nothing that is sterile."),
    catheter
      ? t("While the catheter is open: mask on, say nothing unless asked, and have a clamp in reach.")
      : t("While a needle goes in: say nothing unless asked, and have gauze open."),
  ],
  running: [
    catheter
      ? t("Look at the catheter, its connections and the lines: uncovered, dry, nothing pulls.")
      : t("Look at the needles, the tapes and the lines: uncovered, dry, nothing pulls."),
    t("Look at the face and listen: pale, yawning, slow answers, sweat. Then measure the pressure."),
    t("Write what you see and what you give here, on your own phone: both phones show it."),
    t("Give no medicine before you have looked above at what was given already."),
  ],
  after: [
    catheter
      ? t("Mask on while the lines come off; hand over the caps.")
      : t("Press where you are told to, without looking away, until the time on the screen is over."),
    t("Help to sit up slowly; stay beside until standing is safe."),
    t("Write down what the machine shows at the end, before it is switched off."),
  ],
});

/** @param {Ctx} ctx */
function stageOf(ctx) {
  const { night } = ctx;
  if (!night || night.stage === "handed" || night.plan.paper) return "none";
  return overBy(night) ? "after" : night.stage;
}

/** @param {Ctx} ctx */
function given(ctx) {
  const rows = ctx.night.doc.medicines;
  if (!rows.length) return [[t("Medicines given"), t("none noted")]];
  return rows.map((row) => [
    `${timeOf(row.at)} ${wordsOf(ctx.kit, row.name)}`,
    row.amount == null ? t("amount not noted") : withUnit(row.amount, wordsOf(ctx.kit, row.unit)),
  ]);
}

/** @param {Ctx} ctx */
function now(ctx) {
  const { doc } = ctx.night;
  const { minutes, left, endsAt, due } = course(ctx.night, ctx.kit, ctx.now());
  const fluid = fluidSoFar(ctx.night, ctx.kit, ctx.now());
  const last = doc.readings.at(-1);
  const pressure = lastPressure(doc);
  return dl([
    [t("Running since"), `${timeOf(doc.started_at)}, ${hours(minutes)} h`],
    left != null && left >= 0 && endsAt && [t("Planned until"), `${timeOf(endsAt)}, ${hours(left)} h`],
    [t("Last reading"), last ? timeOf(last.at) : t("none yet")],
    pressure && [t("Last pressure"), `${pressure.systolic}/${pressure.diastolic ?? "–"}, ${timeOf(pressure.at)}`],
    due && [t("Next reading"), timeOf(due)],
    [t("Fluid off so far"), fluid.now == null ? t("no reading yet") : withUnit(fluid.now, "L")],
    ...given(ctx),
  ]);
}

/** What happened, newest first: first what is not at its end, then how the others went. @param {Ctx} ctx */
function events(ctx) {
  const open = new Set(notAtEnd(ctx));
  const over = ctx.night.doc.events.filter((_, index) => !open.has(index)).reverse();
  if (!over.length) return notAtEndNotes(ctx);
  const told = (event) => [...courseWords(event), wordsOf(ctx.kit, event.note)].filter(Boolean).join(", ");
  const rows = over.map((event) => [
    `${timeOf(event.at)} ${eventWords(ctx.kit, event.kind)}`,
    told(event) || t("noted"),
  ]);
  return [notAtEndNotes(ctx), dl(rows)];
}

/** @param {Ctx} ctx */
function draw(ctx) {
  const stage = stageOf(ctx);
  const beside = stage === "none" ? runningBeside(ctx) : [];
  return [
    beside.length > 0 &&
      note(
        t("A treatment runs on another phone since {time}.", { time: timeOf(beside[0].started_at) }),
        "care",
        bigButton(t("Look at it"), () => ctx.go("second"), { tone: "go", data: { k: "beside" } }),
      ),
    stage === "running" && [h("h2", { text: t("What happens now") }), events(ctx), now(ctx)],
    stage === "after" && endedWords(ctx),
    h("h2", { text: t("What you do") }),
    h(
      "ul",
      null,
      HANDS(ofCatheter(ctx))[beside.length ? "running" : stage].map((text) => h("li", { text })),
    ),
    note(t("Your unit's training comes before this list."), "plain"),
    callButtons(ctx.kit.unit, "on_call"),
  ];
}

/** @param {Ctx} ctx */
function bar(ctx) {
  const running = stageOf(ctx) === "running";
  return [
    { label: t("Emergency cards for the helper"), go: "danger" },
    running && { label: t("Write something down"), go: "running" },
  ].filter(Boolean);
}

register("helper", { title: () => t("You help: what happens now"), draw, bar });
