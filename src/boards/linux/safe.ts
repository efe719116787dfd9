import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import type { PlannedOutput } from '../../safe/plan.ts';
import { MissingProgram, type Tools } from '../../safe/tools.ts';
import { HEADER_PWM } from './pwm-pins.ts';

/** What the safe plan says about such a board. */
export interface LinuxPlace {
  /** GPIO character device: `gpiochip0`. */
  chip: string;
  /** Number of the chip under /sys/class/pwm. */
  pwmChip: number;
  /** GPIO to PWM channel, where they are not the usual ones. */
  pwmPins?: Readonly<Record<string, number>>;
}

/**
 * Relays by gpioset, which then releases the lines. If the kernel keeps a line's level, it stays safe. If
 * it makes the line an input, a pull resistor holds it safe: the chip's own, if any, is set to the safe
 * level and stays set after the release. Pulses and lights by the PWM files of sysfs
 * (Documentation/driver-api/pwm.rst of the kernel).
 */
export async function safeLinux(
  board: LinuxPlace & { outputs: readonly PlannedOutput[] },
  tools: Tools,
): Promise<string[]> {
  const lines = board.outputs.filter(({ kind }) => kind === 'level');
  const done: string[] = [];
  const failures: string[] = [];
  for (const output of board.outputs) {
    if (output.kind === 'level') continue;
    try {
      done.push(`${output.name} (pin ${output.pin}) ${stopPwm(board, output, tools.sysfs)}`);
    } catch (error) {
      failures.push(`${output.name} (pin ${output.pin}): ${(error as Error).message}`);
    }
  }
  if (lines.length > 0) {
    try {
      await setLines(board.chip, lines, tools);
      for (const { name, pin, safe } of lines)
        done.push(`${name} (line ${pin}) ${safe ? 'high' : 'low'}`);
    } catch (error) {
      failures.push((error as Error).message);
    }
  }
  if (failures.length > 0) throw new Error([...failures, ...done].join('; '));
  return done;
}

async function setLines(chip: string, lines: readonly PlannedOutput[], { run }: Tools) {
  // libgpiod 1 and 2 are both in use, and their gpioset differs.
  const version = /v?(\d+)\.\d+/.exec(await run('gpioset', '--version'))?.[1];
  const toChip = Number(version) >= 2 ? ['-t', '0', '-c', chip] : [chip];
  const set = async (level: 0 | 1) => {
    const levels = lines
      .filter(({ safe }) => (safe ? 1 : 0) === level)
      .map(({ pin }) => `${pin}=${level}`);
    if (levels.length === 0) return;
    const pull = `--bias=${level ? 'pull-up' : 'pull-down'}`;
    try {
      await run('gpioset', pull, ...toChip, ...levels);
    } catch (error) {
      if (error instanceof MissingProgram) throw error;
      // A kernel older than 5.5, or a chip that refuses: only the level.
      await run('gpioset', ...toChip, ...levels);
    }
  };
  const results = await Promise.allSettled([set(0), set(1)]);
  for (const result of results) if (result.status === 'rejected') throw result.reason;
}

/** Returns what was done. @throws Error when a file cannot be written */
function stopPwm(board: LinuxPlace, { pin, safe }: PlannedOutput, sysfs: string): string {
  const folder = `${sysfs}/class/pwm/pwmchip${board.pwmChip}`;
  const channel = board.pwmPins?.[pin] ?? HEADER_PWM[Number(read(`${folder}/npwm`))]?.[pin];
  if (channel === undefined) throw new Error(`pwmchip${board.pwmChip} has no channel for it`);
  const at = `${folder}/pwm${channel}`;
  if (!existsSync(at)) return 'was not in use';
  // A pin whose PWM is disabled is low; one that must be high keeps running at full duty.
  if (safe) {
    writeFileSync(`${at}/duty_cycle`, read(`${at}/period`));
    return 'high';
  }
  // The kernel refuses a duty cycle while the period is 0: no pulse has ever come out then.
  if (read(`${at}/period`) !== '0') writeFileSync(`${at}/duty_cycle`, '0');
  writeFileSync(`${at}/enable`, '0');
  return 'off';
}

const read = (file: string) => readFileSync(file, 'utf8').trim();
