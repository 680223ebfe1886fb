/*
 * The bytes of two open Bluetooth measurements, as pure functions. Layouts: Bluetooth SIG, GATT Specification
 * Supplement, "Blood Pressure Measurement" (0x2A35), "Weight Measurement" (0x2A9D) and "Date Time" (0x2A08);
 * the 16-bit float: IEEE 11073-20601, SFLOAT-Type. Numbers are little-endian.
 */

/** mmHg in one kPa: 1 mmHg is 0.133322387415 kPa (BIPM, SI Brochure, 8th edition, table 8). */
const MMHG_PER_KPA = 1 / 0.133322387415;
/** kg in one pound, exactly (international yard and pound agreement, 1959). */
const KG_PER_LB = 0.45359237;
const UNKNOWN_USER = 255;
const FAILED_WEIGHT = 0xffff;

/** The mantissa goes from −2045 to 2045; what lies beyond is kept for infinities, "not a number" and the like. */
const LARGEST_MANTISSA = 2045;

/** 16 bits -> number or NaN: four bits of exponent and twelve of mantissa, both in two's complement, base ten. */
export function sfloat(bits) {
  const exponent = (bits << 16) >> 28;
  const mantissa = (bits << 20) >> 20;
  if (Math.abs(mantissa) > LARGEST_MANTISSA) return NaN;
  // Dividing by a power of ten rounds once, multiplying by 0.1 would round twice: 1205 with −1 is 120.5 exactly.
  return exponent < 0 ? mantissa / 10 ** -exponent : mantissa * 10 ** exponent;
}

/** Walks along the bytes; a measurement that ends too early says so. */
function reader(view) {
  let at = 0;
  const step = (size, read) => {
    if (at + size > view.byteLength) throw new RangeError(`measurement of ${view.byteLength} bytes ends too early`);
    at += size;
    return read(at - size);
  };
  return {
    byte: () => step(1, (from) => view.getUint8(from)),
    word: () => step(2, (from) => view.getUint16(from, true)),
  };
}

const two = (number) => String(number).padStart(2, "0");

/** Seven bytes -> "2026-03-01T22:10:05" on the clock of the device, which knows no zone; null when not set. */
function stampOf(read) {
  const year = read.word();
  const [month, day, hour, minute, second] = Array.from({ length: 5 }, read.byte);
  if (!year || !month || !day) return null;
  return `${year}-${two(month)}-${two(day)}T${two(hour)}:${two(minute)}:${two(second)}`;
}

function userOf(read) {
  const user = read.byte();
  return user === UNKNOWN_USER ? null : user;
}

const known = (number) => (Number.isFinite(number) ? number : null);

/** What the cuff found wrong with its own measurement. */
function doubtsOf(status) {
  const rate = (status >> 3) & 3;
  return [
    status & 1 && "moved",
    status & 2 && "loose",
    status & 4 && "irregular",
    rate === 1 && "fast",
    rate === 2 && "slow",
    status & 32 && "position",
  ].filter(Boolean);
}

/**
 * DataView of 0x2A35 -> {systolic, diastolic, mean (mmHg), pulse (/min), at, user, doubts}; null for what is not given.
 * Flags: 1 kPa, 2 time stamp, 4 pulse, 8 user, 16 status.
 */
export function bloodPressure(view) {
  const read = reader(view);
  const flags = read.byte();
  const scale = flags & 1 ? MMHG_PER_KPA : 1;
  const [systolic, diastolic, mean] = Array.from({ length: 3 }, () => known(sfloat(read.word()) * scale));
  const at = flags & 2 ? stampOf(read) : null;
  const pulse = flags & 4 ? known(sfloat(read.word())) : null;
  const user = flags & 8 ? userOf(read) : null;
  const doubts = flags & 16 ? doubtsOf(read.word()) : [];
  return { systolic, diastolic, mean, pulse, at, user, doubts };
}

/**
 * DataView of 0x2A9D -> {weight (kg), at, user, bmi, height (m)}; weight null when the scale could not weigh.
 * Flags: 1 pounds and inches, 2 time stamp, 4 user, 8 BMI and height. Steps of 0.005 kg or 0.01 lb.
 */
export function weight(view) {
  const read = reader(view);
  const flags = read.byte();
  const steps = read.word();
  const kg = flags & 1 ? (steps / 100) * KG_PER_LB : steps / 200;
  const at = flags & 2 ? stampOf(read) : null;
  const user = flags & 4 ? userOf(read) : null;
  const bmi = flags & 8 ? read.word() / 10 : null;
  const height = flags & 8 ? (flags & 1 ? (read.word() / 10) * 0.0254 : read.word() / 1000) : null;
  return { weight: steps === FAILED_WEIGHT ? null : kg, at, user, bmi, height };
}
