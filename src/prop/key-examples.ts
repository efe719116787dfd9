import { parse, stringify } from 'yaml';
import { type KeySchema, markOf } from './explain.ts';
import { isMap } from './parts.ts';

/**
 * One example of each key of the prop file, taken from example props, for the key reference. Used only
 * when config/key-examples.json is written.
 */

/** The example props in config, without `.yaml`; the first that has a key gives its example. */
export const EXAMPLE_PROPS = ['owl', 'dusk-street', 'lidded-chest', 'apple-hand'] as const;

/** Longer examples show nothing that the examples of their own keys do not show better. */
const MAX_CHARACTERS = 120;

/** Keys that no example prop has. This is not a prop file: only its single values are used. */
const MORE = `
stop: { deadlineS: 1.5, holdS: 30 }
lockoutInput: { board: head, pin: 21, normallyClosed: true }
guards: { mat: { board: head, pin: 20, normallyClosed: true, action: stop, category: 1 } }
ambientC: 35
ampacity: strict
flash: { unrestricted: true, reason: only on the bench }
picture: { file: owl.jpg, places: { beak: [0.5, 0.42], lid_left: [0.4, 0.3] } }
senses:
  servo_current: { kind: current, board: meter, rail: servo6v, filterS: 0.1, staleS: 1, forS: 0.5, gain: 1.02, offset: -0.01, warnBelow: 0.01, warnAbove: 4, hysteresis: 0.2 }
  beak_current: { kind: current, board: adc, input: 3, channel: beak, maxV: 3.3, calibration: [[0.5, 0], [2.5, 10]], pushAboveA: 0.7, pushOverA: 0.3, pushS: 0.3, backOffDeg: 2 }
  battery: { kind: volts, board: adc, input: 0, rail: servo6v, at: { plus: TB1-1, return: TB1-7 }, divider: [100000, 33000], maxV: 2.2, filterS: 0.1, staleS: 1, forS: 0.5, gain: 1.01, offset: 0.02, dipBelow: 6, warnBelow: 6.6, warnAbove: 8.5, hysteresis: 0.2, parkBelow: 6.2 }
  beak_angle: { kind: position, board: adc, input: 1, channel: beak, maxV: 3.3, calibration: [[0.5, -45], [2.5, 45]], filterS: 0.02, staleS: 1, forS: 0.5, warnBelow: -10, warnAbove: 40, hysteresis: 1, arriveWithinDeg: 4, settleS: 0.4, lagS: 0.3, slipDeg: 4, wakeUnasked: true }
  foyer_light: { kind: level, board: adc, input: 2, maxV: 3.3, calibration: [[0, 0], [3.3, 1]], filterS: 1, staleS: 5, forS: 2, warnBelow: 0.1, warnAbove: 0.9, hysteresis: 0.05 }
  lid: { kind: contact, board: head, pin: 22, forS: 0.5, warnWhen: open }
boards:
  head: { driver: sim, plant: { beak: { stopsDeg: [-8, 38], lagS: 0.05, speedDegS: 300 } } }
  old: { driver: pigpio, sampleUs: 5 }
  chip: { driver: pca9685, bus: 1, address: 0x40, frequencyHz: 50, oscillatorHz: 25500000, vddV: 3.3, enable: { board: head, pin: 8 } }
  speaker: { driver: alsa, device: 'plughw:1,0' }
  meter: { driver: ina226, part: ina226-r010, bus: 1, address: 0x40, shuntOhm: 0.01, maxA: 8, shuntW: 1 }
  old_meter: { driver: ina219, part: ina219-r100, bus: 1, address: 0x41, shuntOhm: 0.1, maxA: 3.2, shuntW: 2 }
  adc: { driver: ads1115, bus: 1, address: 0x48, vddV: 3.3 }
  new: { driver: linux, chip: gpiochip0, pwmChip: 0, pwmPins: { 12: 0, 13: 1 } }
rails:
  pack: { volts: 7.4, limitA: 5, fuse: { ratingA: 5, standard: ISO 8820, from: PACK-1, to: TB1-1 }, battery: { capacityAh: 5, ratedH: 20, peukert: 1.1, wantedH: 4, fullV: 8.4, nominalV: 7.4, emptyV: 6.4, maxA: 10, internalOhm: 0.08, curve: [[6.4, 0], [7.4, 0.5], [8.4, 1]] } }
connectors: { J2: { ratedA: 3 } }
wires: [{ label: W90, sectionMm2: 0.5, cores: [{ role: plus, colour: RD, from: F1-2, to: TB1-1 }] }]
channels:
  a:
    kind: servo
    part: servo-9g
    measured: { calibration: { date: 2026-11-26, of: m1f0c9e3a }, freeRunning: { date: 2026-11-26, of: m1f0c9e3a } }
    maintainEvery: { cycles: 50000, starts: 80000, hours: 500 }
    edge: { armMm: 80, limitN: 20 }
    freeRunning: { risingA: 0.24, fallingA: 0.21 }
    place: left wing
    requires: [{ channel: wing_left, below: 10 }, { channel: clamp, is: on }]
    wire: { label: W91, sectionMm2: 0.25, cores: [{ role: signal, colour: YE, from: J1-12, to: SV3-1 }] }
    linkage: { crossed: true }
    stallKgfCm: 1.8
    rated: { volts: 4.8, speedDegS: 400, stallNm: 0.18, stallKgfCm: 1.8 }
    load: { flap: { lifts: rising }, arm: { straightDeg: 0 } }
  b:
    kind: relay
    part: relay-board-5v
    measured: { contact: { date: 2026-11-26, of: m1f0c9e3a } }
    maintainEvery: { closures: 100000, hours: 2000 }
    place: tank
    output: { pull: up }
    through: npn
    contact: { mode: held, rail: fog12v, common: K1-COM, open: K1-NO, closed: K1-NC }
    draw: { coilA: 0.07 }
    coil: { volts: 5, ohm: 70, gain: 100, driveV: 3.3, baseOhm: 1000 }
    minOnS: 0.5
    minOffS: 0.5
    light: { share: 0.3, lumens: 400 }
    flash: { unrestricted: true, reason: only on the bench }
    safe: on
    wire: { label: W91, sectionMm2: 0.5, cores: [{ role: signal, colour: YE, from: J1-12, to: SV3-1 }] }
  c:
    kind: rgb
    part: led-strip-12v-rgb
    measured: { colours: { date: 2026-11-26, of: m1f0c9e3a }, white: { date: 2026-11-26, of: m1f0c9e3a }, resistors: { date: 2026-11-26, of: m1f0c9e3a } }
    maintainEvery: { hours: 20000 }
    place: head
    output: { activeLow: true }
    requires: [{ channel: beak, above: 5 }, { channel: beak, below: 30 }, { channel: mist, is: off }]
    wire: { label: W91, sectionMm2: 0.14, cores: [{ role: signal, colour: YE, from: J1-12, to: SV3-1 }] }
    led: { spreadV: 0.2, supplyV: 5 }
    light: { share: 0.3, lumens: 20 }
    flash: { unrestricted: true, reason: only on the bench }
    flicker: { accepted: true, reason: seen only by a camera }
  v:
    kind: sound
    output: { board: speaker }
    rail: logic5v
    place: body
    ceiling: 0.3
    fadeOutS: 0.5
    draw: { maxA: 0.6 }
    park: { to: 0 }
    requires: [{ channel: beak, above: 5 }, { channel: beak, below: 30 }, { channel: mist, is: off }]
    wire: { label: W92, gaugeAwg: 22, sectionMm2: 0.34, lengthM: 0.3, cores: [{ role: plus, colour: RD, from: AMP-1, to: SP1-1 }] }
  d:
    kind: lamp
    part: led-5mm-white
    measured: { resistors: { date: 2026-11-26, of: m1f0c9e3a } }
    maintainEvery: { hours: 20000 }
    place: lantern
    output: { activeLow: true }
    requires: [{ channel: beak, above: 5 }, { channel: beak, below: 30 }, { channel: mist, is: off }]
    wire: { label: W91, sectionMm2: 0.14, cores: [{ role: signal, colour: YE, from: J1-12, to: SV3-1 }] }
    led: { currentA: 0.02, spreadV: 0.2, supplyV: 5, forwardV: 3.1, resistorOhm: 100 }
    light: { share: 0.3, lumens: 20 }
    flash: { unrestricted: true, reason: only on the bench }
    flicker: { accepted: true, reason: seen only by a camera }
takes: { wave: wave.take }
cues:
  c:
    - { at: 0, until: { channel: beak, below: 5 } }
    - { take: wave, rate: 0.8 }
  d:
    steps:
      - { take: wave, rate: 0.8, times: 3 }
      - { spreadS: 0.5, move: { beak: { around: 10, spread: 5 } } }
      - { colour: { eye_left: orange } }
      - { sound: { voice: hoot }, volume: 0.6 }
      - { switch: { mist: "on" }, forS: 4 }
      - { until: { channel: beak, above: 5, below: 30, is: on, withinS: 5, otherwise: end } }
osc: { host: 127.0.0.1, perform: { /owl/beak: { channel: beak, from: shut, to: 30 } } }
e131: { universe: 1, interface: 10.0.0.2, port: 5568, priority: 50, onLoss: hold, lossFadeS: 3, map: { lantern: { address: 1, bits: 16 }, beak: { address: 10, allowMotion: true, from: shut, to: 30 } } }
sounds: { hoot: hoot.wav, purr: { file: purr.flac, follow: { beak: { shut: 0, open: 30, floorLufs: -45, rangeLu: 25, attackS: 0.04, releaseS: 0.12, take: purr_beak, digest: 0a1b2c3d4e5f6a7b } } } }
triggers: { door: { input: { board: head, pin: 22, normallyClosed: true }, cue: wake } }
show: { name: foyer, prop: owl, groups: [birds], broker: { url: 'mqtts://10.0.0.2:8883', username: owl, passwordFile: /etc/sinew/show-password, caFile: /etc/sinew/show-ca.pem }, whenBrokerLost: finish, maxUncertaintyMs: 10, parkAfterS: 30 }
`;

/** @param props data of prop files; the first that has a key gives its example */
export function keyExamples(schema: KeySchema, props: readonly unknown[]): Record<string, string> {
  const found: Record<string, string> = {};
  for (const prop of [...props, parse(MORE)]) collect(prop, schema, '', found);
  return Object.fromEntries(Object.entries(found).sort(([a], [b]) => (a < b ? -1 : 1)));
}

/** Places are named as `explainKey` names them: names of the file are left out, kinds stand in. */
function collect(
  value: unknown,
  schema: KeySchema,
  path: string,
  found: Record<string, string>,
): void {
  const forms = schema.anyOf ?? schema.oneOf;
  if (forms) {
    for (const form of forms) {
      const mark = markOf(form);
      if (mark === undefined) collect(value, form, path, found);
      else if (isMap(value) && (value.kind ?? value.driver) === mark)
        collect(value, form, `${path}.${mark}`, found);
    }
    return;
  }
  if (Array.isArray(value)) {
    for (const item of value) if (schema.items) collect(item, schema.items, path, found);
    return;
  }
  if (!isMap(value)) return;
  for (const [key, one] of Object.entries(value)) {
    const own = schema.properties?.[key];
    if (own) {
      const place = path ? `${path}.${key}` : key;
      if (found[place] === undefined) {
        const text = textOf(key, one);
        if (text.length <= MAX_CHARACTERS && !text.includes('\n')) found[place] = text;
      }
      collect(one, own, place, found);
    } else if (typeof schema.additionalProperties === 'object')
      collect(one, schema.additionalProperties, path, found);
  }
}

/** As it is usually written. */
function textOf(key: string, value: unknown): string {
  if (key === 'address' && typeof value === 'number') return `0x${value.toString(16)}`;
  const text = stringify(value, { collectionStyle: 'flow', lineWidth: 0 }).trim();
  return text.replaceAll('[ ', '[').replaceAll(' ]', ']');
}
