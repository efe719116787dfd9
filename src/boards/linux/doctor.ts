import {
  CONFIG,
  type Finding,
  file,
  group,
  koffi,
  type Output,
  program,
  type World,
} from '../doctor.ts';
import type { LinuxBoard } from './facts.ts';
import { pwmPinProblem } from './pin-function.ts';

/** What a board on the kernel's own interfaces needs from this machine. */
export async function questions(
  world: World,
  { chip, pwmChip }: LinuxBoard,
  outputs: readonly Output[],
): Promise<Finding[]> {
  const findings = [
    await file(world, `/dev/${chip}`, 'gpiodetect shows the chips that this board has'),
    await group(world, 'gpio'),
    await koffi(world, 'linux'),
    await program(world, ['gpioset'], 'gpiod'),
  ];
  const pulsed = outputs
    .filter(({ kind }) => kind !== 'relay')
    .flatMap(({ name, pins }) => pins.map((pin) => ({ name, pin })));
  if (pulsed.length === 0) return findings;
  const folder = `/sys/class/pwm/pwmchip${pwmChip}`;
  const there = await file(
    world,
    folder,
    `switch hardware PWM on: dtoverlay=pwm-2chan in ${CONFIG}, then restart the board; ls /sys/class/pwm shows the chips`,
  );
  findings.push(there);
  if (there.state === 'fine') findings.push(await pwmPinsFinding(world, folder, pulsed));
  return findings;
}

/** At which pins the PWM comes out; the chip itself cannot tell. */
async function pwmPinsFinding(
  world: World,
  folder: string,
  pulsed: readonly { name: string; pin: number }[],
): Promise<Finding> {
  const what = 'PWM pins';
  const pins = await world.pwmPins(folder);
  if (!pins)
    return {
      what,
      state: 'unknown',
      text: 'the device tree does not tell where the PWM comes out',
    };
  const trouble = pwmPinProblem(pins, pulsed);
  if (trouble) return { what, state: 'wrong', ...trouble };
  const named = pulsed.map(({ name, pin }) => `GPIO ${pin} (${name})`).join(', ');
  return { what, state: 'fine', text: `the PWM comes out at ${named}` };
}
