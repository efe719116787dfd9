import { stringify } from 'yaml';
import { HEADER_LAYOUT } from '../../src/boards/header.ts';

const BOARDS = 3;
const PER_BOARD = 20;
/** What the header keeps for itself stays free. */
const RESERVED = [0, 1, 2, 3, 14, 15];

/** Cavity of the header for a GPIO. */
const cavity = (gpio: number) =>
  1 + HEADER_LAYOUT.findIndex((pin) => 'gpio' in pin && pin.gpio === gpio);

/**
 * The text of a prop with 60 servos on three simulated boards, each servo with its wire, draw and marks, as
 * a maker writes them: what a board has to read, check and write. Two relays, and cues that move everything.
 */
export function sixtyServos(): string {
  const boards = Array.from({ length: BOARDS }, (_, i) => `board_${i}`);
  const gpios = Array.from({ length: 28 }, (_, gpio) => gpio).filter(
    (one) => !RESERVED.includes(one),
  );
  const channels: Record<string, object> = {};
  const connectors: Record<string, object> = {};
  const wires: object[] = [];
  for (const [b, board] of boards.entries()) {
    const rail = `rail_${b}`;
    const count = 2 * PER_BOARD + 8;
    const half = count / 2;
    const bar = (from: number) => Array.from({ length: half }, (_, i) => from + i);
    connectors[`J${b}`] = { name: `header of ${board}`, board, cavities: 40 };
    connectors[`PS${b}`] = { name: `supply of ${board}`, cavities: 2 };
    connectors[`F${b}`] = { name: `fuse of ${board}`, cavities: 2 };
    connectors[`TB${b}`] = {
      name: `block of ${board}`,
      cavities: count,
      bridged: [bar(1), bar(half + 1)],
    };
    const wire = (label: string, role: string, colour: string, from: string, to: string) =>
      wires.push({ label, rail, gaugeAwg: 10, lengthM: 0.3, cores: [{ role, colour, from, to }] });
    wire(`P${b}1`, 'plus', 'RD', `PS${b}-1`, `F${b}-1`);
    wire(`P${b}2`, 'plus', 'RD', `F${b}-2`, `TB${b}-1`);
    wire(`P${b}3`, 'return', 'BK', `PS${b}-2`, `TB${b}-${half + 1}`);
    wire(`P${b}4`, 'return', 'BK', `TB${b}-${half + 2}`, `J${b}-39`);
    for (let i = 0; i < PER_BOARD; i++) {
      const n = b * PER_BOARD + i;
      connectors[`SV${n}`] = { name: `plug of servo_${n}`, cavities: 3 };
      channels[`servo_${n}`] = {
        kind: 'servo',
        output: { board, pin: gpios[i] },
        rail,
        calibration: [
          [500, -90],
          [1500, 0],
          [2500, 90],
        ],
        limitsDeg: [-80, 80],
        speedDegS: 120,
        accelDegS2: 600,
        draw: { idleA: 0.01, movingA: 0.2, stallA: 0.7 },
        marks: { back: -60, middle: 0, front: 60 },
        park: { to: 'middle', then: 'release' },
        wire: {
          label: `W${n}`,
          gaugeAwg: 22,
          lengthM: 0.6,
          cores: [
            { role: 'signal', colour: 'YE', from: `J${b}-${cavity(gpios[i]!)}`, to: `SV${n}-1` },
            { role: 'plus', colour: 'RD', from: `TB${b}-${3 + i}`, to: `SV${n}-2` },
            { role: 'return', colour: 'BK', from: `TB${b}-${half + 3 + i}`, to: `SV${n}-3` },
          ],
        },
      };
    }
  }
  channels.fan = {
    kind: 'relay',
    output: { board: 'board_0', pin: gpios[PER_BOARD], activeLow: false },
    rail: 'rail_0',
    draw: { onA: 0.2 },
    park: { to: 'off' },
  };
  const servos = Object.keys(channels).filter((name) => name.startsWith('servo'));
  const prop = {
    sinew: 1,
    name: 'Sixty servos',
    link: { timeoutMs: 500, onLoss: 'park' },
    boards: Object.fromEntries(boards.map((name) => [name, { driver: 'sim' }])),
    rails: Object.fromEntries(
      boards.map((_, b) => [
        `rail_${b}`,
        {
          volts: 6,
          limitA: 15,
          supply: { plus: `PS${b}-1`, return: `PS${b}-2` },
          fuse: { ratingA: 15, from: `F${b}-1`, to: `F${b}-2` },
        },
      ]),
    ),
    channels,
    connectors,
    wires,
    groups: { all: servos, few: servos.slice(0, 4) },
    poses: { asleep: Object.fromEntries(servos.map((name) => [name, 'middle'])) },
    cues: {
      sweep: [
        { name: 'out', at: 0, move: { all: 'front' }, overS: 1.2, ease: 'ease-in-out' },
        { after: 'out', move: { all: 'middle' }, overS: 1.2, ease: 'ease-in-out' },
      ],
    },
    park: { stages: [['fan']], deadlineS: 10 },
  };
  return `# A prop for measurements: everything on it is simulated.\n${stringify(prop)}`;
}
