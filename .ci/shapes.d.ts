/*
 * The shapes that go through the bedside's scripts, for the type checker alone: nothing here is served.
 * A kit is made by sessions/services/kit.py, a document judged by sessions/services/document.py.
 */

/** A moment in UTC: "2026-03-01T22:10:00.000Z". */
type Iso = string;
/** What an entry may be: `hard` is refused, outside `usual` is asked about once more. */
interface Limits {
  label: string;
  unit: string;
  hard: [number, number];
  usual: [number, number];
  at_most?: string;
  rises?: boolean;
  /** That nothing is as usual as what lies within `usual`. */
  zero?: boolean;
  apart?: number;
  /** The key of what is prescribed of it, which stands beside it. */
  ordered?: string;
  doubt?: (number: number) => string;
  step?: number;
  /** The unit that the reader chose where it is not the canonical one: told = factor · kept + offset. */
  told?: { unit: string; factor: number; offset: number };
  /** What it is called where the place says the rest. */
  short?: string;
  /** Figures after the sign; under zero: at most so many. */
  decimals?: number;
  /** Why a number is refused beside what stands in the same row; "" where it is not. */
  refuse?: (number: number) => string;
  /** The number that is written under it, and what the two are called in one row. */
  pair?: string;
  together?: string;
}

interface Reading {
  at: Iso;
  // One number or nothing for each field that sessions/services/plausible.py declares of a reading.
  [name: string]: any;
}

interface Check {
  key: string;
  name: string;
  at: Iso;
  passed?: boolean | null;
  value?: number | null;
  note?: string;
  overruled?: boolean;
  reason?: string;
  [name: string]: any;
}

interface UsedSite {
  site: number | null;
  use: "arterial" | "venous" | string;
  attempts?: number | null;
  gauge?: number | null;
  needle?: string;
  length_mm?: number | null;
  bleeding_minutes?: number | null;
  [name: string]: any;
}

/** What a treatment was, as the unit takes it: `PUT /api/v1/treatments/{id}/`. */
interface TreatmentDocument {
  started_at: Iso | null;
  ended_at: Iso | null;
  planned_minutes?: number | null;
  planned_uf_l?: number | null;
  readings: Reading[];
  events: any[];
  medicines: any[];
  checks: Check[];
  sites: UsedSite[];
  steps: { id?: string; at: Iso; key: string; words: string }[];
  used_stock: any[];
  confirmed: string[];
  disinfected: boolean | null;
  // The numbers that the kit names.
  [name: string]: any;
}

interface Fault {
  field: string;
  message: string;
}

/** Why an entry that reached the unit's server was not taken: trouble.js says what each member is. */
interface Trouble {
  status: number;
  said: string;
  tries: number;
  since: Iso;
  at: Iso;
  next: Iso | null;
  told: number | null;
}

/** One record as this phone holds it: draft.js says what each member is. */
interface Night {
  id: string;
  patient: string;
  account: number;
  stage: "before" | "running" | "after" | "handed";
  doc: TreatmentDocument;
  /** What was meant, and sheets half filled in; `paper` is a PaperSheet. */
  plan: Record<string, any>;
  stamps: Record<string, Iso>;
  acks: Record<string, any>;
  prescriptionVersion: number | null;
  screen: string;
  revision: number | null;
  etag: string | null;
  sent: string | null;
  sentAt: Iso | null;
  delivered: Iso | null;
  correcting: boolean;
  faults: Fault[];
  trouble: Trouble | null;
  questions: { list: string; id: string; field: string; mine: any; by: any; at: Iso }[];
  heard: { by: { id: number; name: string } | null; at: Iso } | null;
  others: Record<string, { id: number; name: string } | null>;
  mistaken: boolean;
  /** Gone through for practice: it never leaves the phone. */
  practice: boolean;
  unanswered: string[];
  past: NightStep[];
  future: NightStep[];
  touched_at: Iso;
}

/** What can be taken back: [part, its text before, its text after]. */
interface NightStep {
  label: string;
  parts: [string, string | undefined, string | undefined][];
}

interface PaperSheet {
  day: string;
  typed: any;
  sure: Record<string, string>;
  wrong: string[];
}

interface CheckItem {
  key: string;
  name: string;
  part: "setup" | "after" | "access" | string;
  kept?: string;
  unit?: string;
  asks_value?: boolean;
  /** Only passing it lifts it. */
  stop?: boolean;
  limit_low?: number | null;
  limit_high?: number | null;
  [name: string]: any;
}

/** One step of the way through some trouble: sessions/texts/flows.py. */
interface FlowStep {
  key: string;
  stamp: string;
  words: string;
  hint: string;
  kept?: string;
  minutes: number | null;
  asks: string;
  does: string[];
  urgent: boolean;
  answers: { code: string; then: string; does: string[]; danger: boolean }[];
}

interface SheetStep {
  key: string;
  words: string;
  kept?: string;
  [name: string]: any;
}

interface Site {
  id: number;
  name: string;
  use: string;
  technique: string;
  x: number;
  y: number;
  resting: boolean;
  rest_until: string | null;
  last_used: string[];
  uses_30: number;
}

interface Prescription {
  version: number;
  minutes: number;
  target_weight_kg: number;
  uf_rate_limit_ml_kg_h: number;
  reading_interval_minutes: number | null;
  quiet_at_night: boolean;
  // The other fields of sessions/models: shown, never computed with.
  [name: string]: any;
}

/** One handed-over night of the kit's history, newest first. */
interface PastNight {
  id: string;
  night: string;
  started_at: Iso;
  minutes: number | null;
  last_reading: Reading | null;
  alerts: string;
  [name: string]: any;
}

/** What the unit has open for this person now: a task, a water test, a supply count. */
interface Due {
  id: string;
  form: "water" | "count" | "done" | string;
  noted?: boolean;
  [name: string]: any;
}

interface Message {
  id: number;
  words: string;
  from: string;
  at: Iso;
  seen?: boolean;
}

interface Stock {
  id: number;
  name: string;
  unit: string;
  have: number | null;
  [name: string]: any;
}

interface Unit {
  name: string;
  emergency_number: string;
  on_call_number: string;
  time_zone: string;
  opening_hours: { weekday: number; opens: string; closes: string }[];
  /** How it writes days ("dmy", "mdy", "ymd") and times ("24", "12"), and spells English ("en", "en-us"). */
  dates?: { order: string; clock: string };
  english?: string;
  /** Days on which it is closed whatever its hours say. */
  closed_days?: string[];
}

/** Everything personal that a night needs: `GET /api/v1/bedside/`. */
interface Kit {
  id: string;
  kept_at: Iso;
  made_at: Iso;
  release: string;
  /** Another one where the unit brought back a backup. */
  history_id?: string;
  language: string;
  account: { id: number; name: string; role: string };
  patient: {
    id: string;
    name: string;
    zone: string;
    /** Where no place holds. */
    home_zone?: string;
    /** Where the patient is for some days: with a clock and an emergency number of its own. */
    places?: { name: string; since: string; until: string | null; zone: string; emergency: string }[];
    access_side: "left" | "right" | null;
    /** Whether the unit lets this person go through the sheets in short. */
    short_sheets?: boolean;
    /** Allergies and dangers as sentences, also that nobody has asked. */
    cautions?: string[];
  };
  unit: Unit | null;
  /** Whether most of the latest treatments began by day. */
  by_day: boolean;
  prescription: Prescription | null;
  changes: { lines: any[]; acknowledged?: boolean; [name: string]: any } | null;
  messages: Message[];
  /** Water tests over their limit that the unit knows of. */
  water?: { label: string; value: number; unit: string; place: string; at: Iso; limit: string; again?: { value: number; at: Iso } | null }[];
  due: Due[];
  stock: Stock[];
  checklist: { version: number; items: CheckItem[]; checked: boolean };
  run_sheet: { version: number; technique: string; steps: SheetStep[]; checked: boolean };
  cards: EmergencyCard[];
  on_each_card: EmergencyTexts["on_each_card"];
  first_aid: Record<string, string>;
  flows?: Record<string, FlowStep[]>;
  /** Whether nurse and nephrologist have signed these steps. */
  flows_checked?: boolean;
  /** Below which systolic pressure the phone says what to do now [mmHg]. */
  low_pressure?: { usual: number; after_high: number; high_before: number };
  /** Kinds of events whose first aid nurse and nephrologist have not both signed. */
  first_aid_unchecked: string[];
  /** Kind of event -> the emergency card that is its first aid. */
  card_of: Record<string, string>;
  /** After which kinds of events the blood is not simply given back, what is said then, which steps are left out. */
  blood_back?: { kinds: Record<string, "never" | "ask">; words: Record<string, string>; steps: string[] };
  access: {
    id: number;
    kind: string;
    side: "left" | "right";
    picture: { limb: string };
    sites: Site[];
    [name: string]: any;
  } | null;
  limits: Record<string, Limits>;
  /** Paths that each screen asks for and each part of the paper sheet has, in their order. */
  asked: { paper: Record<string, string[]>; drawn: string[]; [place: string]: any };
  /** Numbers that the unit computes, under the names that they have everywhere. */
  computed: Record<string, { label: string; short: string; unit: string; decimals: number; told?: Limits["told"] }>;
  event_kinds: Record<string, string>;
  /** Those that can happen to this access. */
  event_kinds_here?: string[];
  /** The ready-made words of a record: code -> words in the language of the kit, with {places} for their parts. */
  ready: Record<string, string>;
  numbers: string[];
  history: PastNight[];
  open: any[];
  [name: string]: any;
}

/** One emergency card; `first`: whose number lies under the thumb; `own`: that the unit wrote it in another language. */
interface EmergencyCard {
  kind: string;
  group: string;
  title: string;
  events: string[];
  signs: string;
  now: string[];
  never: string[];
  call: string[];
  helper: string[];
  alone: string;
  say: string;
  first: "emergency" | "on_call";
  see: string[];
  own: string;
  /** Whether nurse and nephrologist have signed it and the date to read it again has not passed. */
  checked: boolean;
}

interface EmergencyTexts {
  cards: EmergencyCard[];
  on_each_card: {
    training: string;
    say_first: string;
    say_address: string;
    say_door: string;
    unchecked: string;
    groups: Record<string, string>;
    headings: Record<"never" | "call" | "helper" | "say" | "see", string>;
  };
}

interface Settings {
  hand: "" | "left" | "right";
  theme: string;
  text: string;
  language: string;
  /** Minutes without a touch after which the bedside locks itself; 0: never. */
  lockAfter: number;
}

/** Something small that waits to be told to the unit. */
interface Errand {
  id: string;
  method: string;
  url: string;
  body: any;
  words: string;
  at: Iso;
  /** No entry of a person: not listed among what waits. */
  quiet?: boolean;
  trouble?: Trouble;
}

/** What has not reached the unit. */
interface Waiting {
  id: string;
  kind: "night" | "errand" | "damaged";
  state: "waiting" | "open" | "conflict" | "refused" | "failed" | "damaged";
  night?: Night;
  errand?: Errand;
  /** What the vault could not read. */
  row?: { store: string; id: string; row: any };
}

/** What came of asking the server. */
interface Answer {
  kind: "ok" | "same" | "refused" | "failed" | "signedOut" | "gone" | "unreachable" | "changed" | "choose" | "other";
  status: number;
  data: any;
  current?: any;
}

/** What every screen is given. Only app.js writes into it. */
interface Ctx {
  readonly kit: Kit;
  readonly night: Night;
  readonly nights: Night[];
  readonly patients: { id: string; name: string; [name: string]: any }[];
  readonly settings: Settings;
  /** The new release, where one waits. */
  readonly update: ServiceWorker | null;
  readonly gate: "open" | "starting" | "first" | "locked" | "choose" | "taken" | "gone";
  /** Why the unit took this phone back. */
  readonly gone?: { reason: string; lost: number };
  readonly trouble?: Answer["kind"] | null;
  now: () => Date;
  online: () => boolean;
  go: (...to: any[]) => void;
  back: () => void;
  change: (label: string, write: (night: Night) => void, final?: boolean) => void;
  undo: () => void;
  redo: () => void;
  begin: (practice?: boolean) => Night;
  open: (id: string, document?: any) => Night | null;
  jot: (event: { kind: string; note?: string; at?: Iso }) => void;
  jotted: () => { kind: string; note: string; at: Iso }[];
  unjot: (event: { kind: string; at: Iso }) => void;
  refresh: (patient?: string | null) => Promise<any>;
  enter: (ask?: boolean) => Promise<void>;
  choose: (patient: string) => Promise<void>;
  askWhose: () => Promise<void>;
  redraw: () => void;
  startAgain: () => Promise<void>;
  push: () => Promise<string[]>;
  errand: (errand: { method?: string; url: string; body?: any; words?: string; instead?: boolean }) => Promise<string>;
  save: (night?: Night) => Promise<void>;
  handOver: (night?: Night) => Promise<string[]>;
  /** Another window has the vault now. */
  stepAside: () => void;
  /** A new release waits. */
  offer: (worker: ServiceWorker | null) => void;
  /** The unit took this phone back. */
  empty: (gone: { reason: string; lost: number }) => void;
  busy: () => boolean;
  /** A night that the unit never had goes from this phone, and comes back. */
  forget: (night: Night) => Promise<void>;
  remember: (night: Night) => Promise<void>;
  lock: () => Promise<void>;
}

interface Action {
  label: string;
  /** A screen's name, or [name, ...params]. */
  go?: string | any[];
  tap?: (() => any) | undefined;
  href?: string;
  tone?: string;
  hint?: any;
  disabled?: boolean;
}

interface BedsideScreen {
  title: (ctx: Ctx, params: any) => string;
  draw: (ctx: Ctx, params: any) => any;
  bar?: (ctx: Ctx, params: any) => any[];
  /** Leaves out the head and makes the main action as tall as the thumb's half. */
  light?: boolean;
  /** Tells the unit something beside the record, which practice never does. */
  toUnit?: boolean;
}

/** What an element is made with; other names are attributes of their own. */
interface Props {
  class?: string;
  text?: any;
  on?: Record<string, (event: any) => any>;
  aria?: Record<string, any>;
  data?: Record<string, any>;
  [attribute: string]: any;
}

/* What the browsers have and the checker's library does not know. */
interface Window {
  webkitAudioContext?: typeof AudioContext;
  htmx: any;
  Plotly: any;
}
interface Navigator {
  bluetooth?: any;
}
