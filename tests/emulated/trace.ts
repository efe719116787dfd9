import type { Machine } from './machine.ts';

/** What a machine's kernel shows of its hardware, without a part of Sinew. */

/** How long a PWM channel is high (ns) in each period; 0 while it is disabled or was never used. */
export async function highNs(machine: Machine, channel: number): Promise<number> {
  const at = `/sys/class/pwm/pwmchip0/pwm${channel}`;
  const said = await machine.run(`[ ! -e ${at} ] || cat ${at}/{enable,duty_cycle}`);
  const [enabled, ns] = said.trim().split('\n').map(Number) as [number, number];
  return enabled ? ns : 0;
}

/** From now on the kernel notes every write to the hardware: by these events, such as pwm/pwm_apply. */
export const traceWrites = (events: readonly string[]) => `set -e
cd /sys/kernel/tracing
echo mono >trace_clock
echo 4096 >buffer_size_kb
echo 'get == 0' >events/gpio/gpio_value/filter
for event in ${events.join(' ')}; do echo 1 >events/$event/enable; done`;

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
