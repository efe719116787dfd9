import { type Finding, MISSING, program, type World } from '../doctor.ts';
import { busQuestions } from '../doctor-i2c.ts';
import type { Registers } from '../sensing.ts';
import type { Pca9685Board } from './facts.ts';

/** What a PCA9685 needs from this machine: its bus, the right to use it, and an answer from the chip. */
export async function questions(world: World, { bus, address }: Pca9685Board): Promise<Finding[]> {
  const findings = [
    ...(await busQuestions(world, bus, 'pca9685')),
    await program(world, ['i2cset'], 'i2c-tools'),
  ];
  if (findings[0]!.state === 'fine') findings.push(await answers(world, bus, address));
  return findings;
}

/** Reads MODE1, which has no side effect. */
async function answers({ run }: World, bus: number, address: number): Promise<Finding> {
  const hex = `0x${address.toString(16)}`;
  const what = `chip at ${hex}`;
  try {
    const said = await run('i2cget', '-y', String(bus), hex, '0x00');
    if (said === MISSING) return { what, state: 'unknown', text: 'i2c-tools is not installed' };
    return { what, state: 'fine', text: `answers with MODE1 ${said.trim()}` };
  } catch (error) {
    return {
      what,
      state: 'wrong',
      text: `does not answer: ${(error as Error).message}`,
      remedy: `check SDA, SCL, ground, its logic supply and its address jumpers; i2cdetect -y ${bus} shows who answers`,
    };
  }
}

/** SUBADR1 to SUBADR3 and ALLCALLADR, as they are after power-on (NXP rev. 4, 7.3, table 4, from memory). */
const OTHER_ADDRESSES = [0xe2, 0xe4, 0xe8, 0xe0];

/** Whether a chip is a PCA9685, by its registers for other addresses, which nobody changes. */
export async function recognise(chip: Registers): Promise<boolean> {
  const words = await chip.read(2, 3, 4, 5);
  return OTHER_ADDRESSES.every((byte, i) => words[i]! >> 8 === byte);
}
