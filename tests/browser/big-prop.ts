import { stringify } from 'yaml';

/** GPIOs of one header that are free for outputs. */
const FREE = [...Array.from({ length: 10 }, (_, i) => 4 + i), ...[16, 17, 18, 19, 20, 21, 22, 23]];
const PARTS = { head: 6, legs_front: 16, legs_middle: 16, legs_back: 14, tail: 4, feeler: 4 };
const LIGHTS = 8;
const CUES = 30;

export const SERVOS = 60;
export const CHANNELS = 80;

/**
 * A many-legged prop: 60 servos in five groups (the feelers are in none), 4 relays, 8 lamps, 8 coloured
 * lights and 30 cues, all simulated. `mist` needs `tail_1` above 20 deg. The cue `walk` moves the 20
 * servos of head and back legs.
 * @param speedDegS of every servo: 90 deg at 5 deg/s take 18 s, in which a test can look
 * @returns its text
 */
export function bigProp(speedDegS = 5): string {
  let used = 0;
  const board = (at: number) => `board_${Math.floor(at / FREE.length)}`;
  const pin = () => {
    const at = used++;
    return { board: board(at), pin: FREE[at % FREE.length] };
  };
  /** Pins of one light stand on one board. */
  const pins = () => {
    while ((used % FREE.length) + 3 > FREE.length) used++;
    const at = used;
    used += 3;
    return { board: board(at), pins: [0, 1, 2].map((i) => FREE[(at + i) % FREE.length]) };
  };
  const channels: Record<string, object> = {};
  const groups: Record<string, string[]> = {};
  for (const [part, count] of Object.entries(PARTS)) {
    const names = Array.from({ length: count }, (_, i) => `${part}_${i + 1}`);
    if (part !== 'feeler') groups[part] = names;
    for (const name of names)
      channels[name] = {
        kind: 'servo',
        output: pin(),
        rail: 'servo6v',
        calibration: [
          [500, -90],
          [2500, 90],
        ],
        limitsDeg: [-60, 60],
        speedDegS,
        draw: { idleA: 0.01, movingA: 0.05, stallA: 0.3 },
        marks: { down: -45, level: 0, up: 45 },
        park: { to: 'down', then: 'release' },
      };
  }
  for (const name of ['mist', 'fan', 'horn', 'pump'])
    channels[name] = {
      kind: 'relay',
      output: pin(),
      rail: 'servo6v',
      contact: 'held',
      draw: { onA: 0.2 },
      park: { to: 'off' },
      ...(name === 'mist' && { requires: [{ channel: 'tail_1', above: 20 }] }),
    };
  for (let i = 1; i <= LIGHTS; i++) {
    channels[`spot_${i}`] = { kind: 'lamp', output: pin(), park: { to: 0 } };
    channels[`eye_${i}`] = {
      kind: 'rgb',
      output: { ...pins(), common: 'cathode' },
      fadeS: 0.2,
      park: { to: '#000000' },
    };
  }
  const servos = Object.values(groups).flat();
  const cues = Object.fromEntries(
    Array.from({ length: CUES - 1 }, (_, i) => [
      `scene_${i + 1}`,
      [{ at: 0, move: { [servos[i]!]: 'level' } }],
    ]),
  );
  return stringify({
    sinew: 1,
    name: 'Many legs',
    // A busy machine may be late.
    link: { timeoutMs: 2000, onLoss: 'park' },
    boards: Object.fromEntries(
      Array.from({ length: Math.ceil(used / FREE.length) }, (_, i) => [
        `board_${i}`,
        { driver: 'sim' },
      ]),
    ),
    rails: { servo6v: { volts: 6, limitA: 40 } },
    channels,
    groups: { ...groups, legs: ['legs_front', 'legs_middle', 'legs_back'] },
    poses: { asleep: Object.fromEntries(servos.map((name) => [name, 'down'])) },
    cues: { walk: [{ at: 0, move: { head: 'up', legs_back: 'up' } }], ...cues },
    park: { deadlineS: 50 },
  });
}
