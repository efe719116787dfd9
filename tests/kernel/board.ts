import type { Machine } from '../emulated/machine.ts';

/** What the hardware of an emulated machine shows of itself, without a part of Sinew. */

/** One output of a PCA9685: its four registers (NXP PCA9685 data sheet rev. 4, 7.3.3; from memory). */
export interface Led {
  /** LEDn_ON and LEDn_OFF, 12 bits each: the output is high from one to the other. */
  on: number;
  off: number;
  /** Bit 4 of LEDn_ON_H and of LEDn_OFF_H. */
  fullOn: boolean;
  fullOff: boolean;
}

/** MODE1, MODE2 and the LED registers of a chip as i2cdump reads them, and PRE_SCALE. */
export interface Chip {
  mode1: number;
  mode2: number;
  preScale: number;
  led: Led[];
}

const LED0_ON_L = 0x06;
const OUTPUTS = 16;

export async function chip(machine: Machine, address: number): Promise<Chip> {
  const said = await machine.run(
    `set -e; i2cdump -y -r 0x00-0x45 0 ${address} b; i2cget -y 0 ${address} 0xfe`,
  );
  const bytes = [...said.matchAll(/^[0-4]0: ((?:[0-9a-f]{2} )+)/gm)].flatMap(([, row]) =>
    row!
      .trim()
      .split(' ')
      .map((byte) => Number.parseInt(byte, 16)),
  );
  if (bytes.length !== LED0_ON_L + 4 * OUTPUTS) throw new Error(`i2cdump printed\n${said}`);
  const led = Array.from({ length: OUTPUTS }, (_, n) => {
    const [onL, onH, offL, offH] = bytes.slice(LED0_ON_L + 4 * n) as [
      number,
      number,
      number,
      number,
    ];
    return {
      on: ((onH & 0x0f) << 8) | onL,
      off: ((offH & 0x0f) << 8) | offL,
      fullOn: (onH & 0x10) !== 0,
      fullOff: (offH & 0x10) !== 0,
    };
  });
  return {
    mode1: bytes[0]!,
    mode2: bytes[1]!,
    preScale: Number(said.trim().split('\n').at(-1)),
    led,
  };
}

/** Level of a GPIO line that is an output; undefined while it is an input. */
export async function lines(machine: Machine): Promise<(line: number) => 0 | 1 | undefined> {
  const said = await machine.run('cat /sys/module/header_board/parameters/{out,level}');
  const [out, level] = said.trim().split('\n').map(Number) as [number, number];
  return (line) => ((out >> line) & 1 ? (((level >> line) & 1) as 0 | 1) : undefined);
}
