import { type Finding, MISSING, type World } from '../boards/doctor.ts';
import { underVoltageFile } from '../boards/under-voltage.ts';

const MIN_NODE = 20;

/** Whether this Node is recent enough. */
export function node({ nodeVersion }: World): Finding {
  const what = 'Node';
  if (Number.parseInt(nodeVersion, 10) >= MIN_NODE)
    return { what, state: 'fine', text: nodeVersion };
  const text = `${nodeVersion} is too old`;
  return {
    what,
    state: 'wrong',
    text,
    remedy: `run sinew with Node ${MIN_NODE} or later: a release for ARM boards brings it`,
  };
}

/** Bits of `vcgencmd get_throttled`: now, and 16 higher since the start (from memory). */
const THROTTLED: readonly [number, string, string][] = [
  [
    0,
    'the voltage is too low',
    'use a stronger supply and a short, thick cable; servos need their own',
  ],
  [1, 'the processor is slowed down', 'see to its supply and its cooling'],
  [2, 'the processor is throttled', 'see to its supply and its cooling'],
  [3, 'the processor is at its temperature limit', 'give it a heat sink or moving air'],
];

/** Whether the supply of the computer has dropped since it was switched on. */
export async function voltage(world: World): Promise<Finding> {
  const what = 'voltage';
  const said = await world.run('vcgencmd', 'get_throttled').catch((error: Error) => error);
  if (said === MISSING) return kernelVoltage(world);
  const match = typeof said === 'string' && /throttled=0x([0-9a-f]+)/i.exec(said);
  if (!match) return { what, state: 'unknown', text: `vcgencmd: ${said}` };
  const bits = Number.parseInt(match[1]!, 16);
  for (const [bit, text, remedy] of THROTTLED) {
    if (bits & (1 << bit)) return { what, state: 'wrong', text, remedy };
    if (bits & (1 << (bit + 16)))
      return { what, state: 'wrong', text: `${text}, or was since the start`, remedy };
  }
  return { what, state: 'fine', text: 'never too low since the start' };
}

/** The same as the kernel tells it, where the maker's program is not installed. */
async function kernelVoltage({ read }: World): Promise<Finding> {
  const what = 'voltage';
  const path = await underVoltageFile(read);
  const text = path === undefined ? undefined : await read(path);
  if (text === undefined)
    return { what, state: 'unknown', text: 'this board has no vcgencmd to tell it' };
  if (text.trim() !== '1') return { what, state: 'fine', text: 'not too low now' };
  return { what, state: 'wrong', text: THROTTLED[0]![1], remedy: THROTTLED[0]![2] };
}

/** Whether the time of day is set by a network. */
export async function clock({ run }: World): Promise<Finding> {
  const what = 'clock';
  const said = await run('timedatectl', 'show', '--property=NTPSynchronized', '--value').catch(
    (error: Error) => error,
  );
  if (said === MISSING) return { what, state: 'unknown', text: 'timedatectl is not installed' };
  if (typeof said !== 'string') return { what, state: 'unknown', text: said.message };
  if (said.trim() === 'yes') return { what, state: 'fine', text: 'set by a time server' };
  return {
    what,
    state: 'wrong',
    text: 'is not set by a time server: daily triggers and the journal may have the wrong time',
    remedy: 'sudo timedatectl set-ntp true, with a network; without one, fit a real-time clock',
  };
}
