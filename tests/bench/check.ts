import { parse } from 'yaml';
import { parseProp } from '../../src/prop/load.ts';
import type { Row } from './table.ts';

const CHANNELS = 1000;
const WIRES = 3000;
const RUNS = 7;
const PER_BOARD = 16;
const BOARDS_PER_BUS = 32;

/** A prop of many servos, each with its wire, and blocks that trunk wires lead to. */
function largeProp(): string {
  const boards = Math.ceil(CHANNELS / PER_BOARD);
  const lines = ['sinew: 1', 'name: Everything', 'boards:'];
  for (let i = 0; i < boards; i++) {
    const bus = 1 + Math.floor(i / BOARDS_PER_BUS);
    const address = 0x40 + (i % BOARDS_PER_BUS);
    lines.push(`  b${i}: { driver: pca9685, bus: ${bus}, address: ${address} }`);
  }
  lines.push(
    'rails:',
    '  servos: { volts: 6, limitA: 1200, supply: { plus: PS1-1, return: PS1-2 } }',
  );
  // Each board has a block of its own, and a pair of trunk wires that is spliced on the way.
  const splices = Math.floor((WIRES - CHANNELS) / (2 * boards));
  lines.push('connectors:', '  PS1: { name: supply, cavities: 2 }');
  for (let i = 0; i < boards; i++) {
    const all = (from: number) =>
      Array.from({ length: PER_BOARD + 1 }, (_, k) => from + k).join(', ');
    lines.push(`  TB${i}: { bridged: [[${all(1)}], [${all(18)}]], cavities: 34 }`);
    for (let k = 1; k < splices; k++)
      lines.push(`  SP${i}x${k}: { bridged: [[1, 2], [3, 4]], cavities: 4 }`);
    lines.push(`  B${i}: { cavities: ${PER_BOARD} }`);
  }
  for (let i = 0; i < CHANNELS; i++) lines.push(`  SV${i}: { cavities: 3 }`);
  lines.push('wires:');
  for (let i = 0; i < boards; i++)
    for (let k = 0; k < splices; k++)
      for (const [role, colour, at] of [
        ['plus', 'RD', 0],
        ['return', 'BK', 1],
      ] as const) {
        const from = k === 0 ? `PS1-${1 + at}` : `SP${i}x${k}-${2 + 2 * at}`;
        const to =
          k === splices - 1 ? `TB${i}-${at === 0 ? 17 : 34}` : `SP${i}x${k + 1}-${1 + 2 * at}`;
        lines.push(
          `  - { label: T${i}-${k}-${role}, rail: servos, sectionMm2: 10, lengthM: 0.1, cores: [{ role: ${role}, colour: ${colour}, from: ${from}, to: ${to} }] }`,
        );
      }
  lines.push('channels:');
  for (let i = 0; i < CHANNELS; i++) {
    const board = Math.floor(i / PER_BOARD);
    const pin = i % PER_BOARD;
    lines.push(
      `  s${i}:`,
      '    kind: servo',
      `    output: { board: b${board}, pin: ${pin} }`,
      '    rail: servos',
      '    calibration: [[1000, -45], [1500, 0], [2000, 45]]',
      '    limitsDeg: [-40, 40]',
      '    draw: { idleA: 0.01, movingA: 0.25, stallA: 0.9 }',
      '    marks: { shut: 0, open: 30 }',
      '    park: { to: shut, then: release }',
      '    wire:',
      `      { label: W${i}, sectionMm2: 0.5, lengthM: 0.5, cores: [{ role: signal, colour: YE, from: B${board}-${pin + 1}, to: SV${i}-1 }, { role: plus, colour: RD, from: TB${board}-${pin + 1}, to: SV${i}-2 }, { role: return, colour: BK, from: TB${board}-${pin + 18}, to: SV${i}-3 }] }`,
    );
  }
  return `${lines.join('\n')}\n`;
}

/** Reading, checking and placing every finding, against reading alone. */
export async function checkRow(): Promise<Row> {
  const text = largeProp();
  const took: number[] = [];
  const alone: number[] = [];
  const timed = (act: () => unknown): number => {
    const startedMs = performance.now();
    act();
    return performance.now() - startedMs;
  };
  const { findings } = parseProp(text, 'prop.yaml');
  const errors = findings.filter(({ severity }) => severity === 'error');
  if (errors.length > 0)
    throw new Error(`the prop is not sound: ${errors[0]!.path}: ${errors[0]!.wrong}`);
  for (let run = 0; run < RUNS; run++) {
    alone.push(timed(() => parse(text)));
    took.push(timed(() => parseProp(text, 'prop.yaml')));
  }
  return {
    measure: `check of ${CHANNELS} channels and ${WIRES} wires (ms)`,
    values: took,
    baselines: alone,
    baselineName: 'the YAML parser alone',
    target: { ratio: 3 },
  };
}
