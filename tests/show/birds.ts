import { parseProp } from '../../src/prop/load.ts';
import { parseShow } from '../../src/show/load-show.ts';

/** A prop of a lamp and a servo on one rail. */
export const PROP = `sinew: 1
name: Bird
boards: { head: { driver: sim } }
rails: { servo6v: { volts: 6, limitA: 5 } }
channels:
  neck: { kind: servo, output: { board: head, pin: 4 }, rail: servo6v, calibration: [[1000, -50], [2000, 50]], limitsDeg: [-40, 40], speedDegS: 60, accelDegS2: 600, draw: { idleA: 0.1, movingA: 1.5, stallA: 2 }, park: { to: 0, then: hold } }
  eye: { kind: lamp, output: { board: head, pin: 12 }, rail: servo6v, draw: { fullA: 0.02 }, park: { to: 0 } }
cues:
  shake: [{ at: 0, move: { neck: -20 } }]
  nod: [{ at: 0, move: { neck: 30 } }, { at: 2, move: { neck: 0 } }]
  blink: [{ at: 0, dim: { eye: 1 } }, { at: 0.5, dim: { eye: 0 } }]
  glow: [{ at: 0, cue: blink, times: until stopped }]
`;

/** @param show what of the show comes after its name, props and groups */
export function showText(
  show: string,
  props = 'left: { file: bird.yaml }, right: { file: bird.yaml }',
) {
  return `sinewShow: 1\nname: foyer\nprops: { ${props} }\ngroups: { birds: [left, right] }\n${show}\n`;
}

export const read = (text: string, prop = PROP) =>
  parseShow(text, 'SHOW.yaml', async (path) => parseProp(prop, path));
