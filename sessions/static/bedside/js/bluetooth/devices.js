/* Cuff and scale over Web Bluetooth, where the browser has it. Without it nothing is shown and nothing is missing. */

import { bloodPressure, weight } from "./layouts.js";

const KINDS = {
  pressure: { service: 0x1810, characteristic: 0x2a35, parse: bloodPressure },
  weight: { service: 0x181d, characteristic: 0x2a9d, parse: weight },
};
const chosen = new Map();

export const available = () => typeof navigator.bluetooth?.requestDevice === "function";

/** The device of this kind; the browser asks which one the first time, and wants a touch for it. */
async function deviceOf(kind) {
  if (!chosen.has(kind)) {
    chosen.set(kind, await navigator.bluetooth.requestDevice({ filters: [{ services: [KINDS[kind].service] }] }));
  }
  return chosen.get(kind);
}

/** Forget the device, so that another can be chosen. */
export const forgetDevice = (kind) => chosen.delete(kind);

/**
 * Listen to a device. tell(measured) comes once for each value that it sends, old ones that it kept included, the
 * latest last; broken(problem) when bytes make no sense. Answers a function that stops listening.
 */
export async function listen(kind, tell, broken) {
  const { service, characteristic, parse } = KINDS[kind];
  const device = await deviceOf(kind);
  const server = await device.gatt.connect();
  const source = await (await server.getPrimaryService(service)).getCharacteristic(characteristic);
  const hear = ({ target }) => {
    try {
      tell(parse(target.value));
    } catch (problem) {
      broken(problem);
    }
  };
  source.addEventListener("characteristicvaluechanged", hear);
  await source.startNotifications();
  return () => {
    source.removeEventListener("characteristicvaluechanged", hear);
    if (device.gatt.connected) device.gatt.disconnect();
  };
}
