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

/** How long a PWM channel is high (ns) in each period; 0 while it is disabled or was never used. */
export async function highNs(machine: Machine, channel: number): Promise<number> {
  const at = `/sys/class/pwm/pwmchip0/pwm${channel}`;
  const said = await machine.run(`[ ! -e ${at} ] || cat ${at}/{enable,duty_cycle}`);
  const [enabled, ns] = said.trim().split('\n').map(Number) as [number, number];
  return enabled ? ns : 0;
}

/** From now on the kernel notes every write to the hardware. */
export const TRACE = `set -e
cd /sys/kernel/tracing
echo mono >trace_clock
echo 4096 >buffer_size_kb
echo 'get == 0' >events/gpio/gpio_value/filter
echo 1 >events/smbus/smbus_write/enable
echo 1 >events/gpio/gpio_value/enable
echo 1 >events/pwm/pwm_apply/enable`;

export interface Write {
  /** After the mark (ms). */
  ms: number;
  by: string;
  what: string;
}

/** What was written to the hardware after `mark`, which a script put into trace_marker. */
export async function writesAfter(machine: Machine, mark: string): Promise<Write[]> {
  const said = await machine.run(
    `sed -n '/tracing_mark_write: ${mark}$/,$p' /sys/kernel/tracing/trace`,
  );
  const events = [...said.matchAll(/^\s*(\S+)-\d+\s+\[\d+\] \S+\s+([\d.]+): (.*)$/gm)];
  if (events.length === 0) throw new Error(`no mark ${mark} in the kernel's trace`);
  const [start, ...rest] = events.map(([, by, s, what]) => ({
    by: by!,
    s: Number(s),
    what: what!,
  }));
  return rest.map(({ by, s, what }) => ({ ms: 1000 * (s - start!.s), by, what }));
}
