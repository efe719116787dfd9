import { type Finding, file, INSTALLER, program, type World } from '../doctor.ts';
import { loadPigpio } from './driver.ts';

/** What the pigpio library needs from this machine. */
export async function questions(world: World): Promise<Finding[]> {
  return [
    await processor(world),
    await addon(world),
    await program(world, ['pinctrl', 'raspi-gpio'], 'raspi-utils', MAKERS_ONLY),
    await file(world, '/dev/mem', 'use a kernel that has it (CONFIG_DEVMEM)'),
  ];
}

/** The processors whose registers the library knows (from memory). */
const PIGPIO_PROCESSORS = /bcm(2708|2709|2710|2711|2835|2836|2837)/;

async function processor({ read }: World): Promise<Finding> {
  const what = 'processor';
  const compatible = await read('/proc/device-tree/compatible');
  if (compatible === undefined) return { what, state: 'unknown', text: 'has no device tree' };
  const text = compatible.split('\0').filter(Boolean).join(', ');
  if (PIGPIO_PROCESSORS.test(compatible)) return { what, state: 'fine', text };
  const remedy = 'use driver: linux, or a pca9685';
  return { what, state: 'wrong', text: `${text}: pigpio does not know it`, remedy };
}

/** For packages that are in the board maker's system but not in Debian 12 (its archive for arm64). */
const MAKERS_ONLY =
  "the board maker's own system has it, plain Debian does not: use driver: linux there";

/** Checks the npm package pigpio, whose native part is compiled on the machine that uses it. */
async function addon(world: World): Promise<Finding> {
  const what = 'package pigpio';
  // It also loads without its native part; the driver's loader detects that.
  const why = await world.cannotLoad('pigpio', loadPigpio);
  if (why === undefined) return { what, state: 'fine', text: 'can be loaded' };
  const compile = (await world.exists(INSTALLER))
    ? `sudo apt install g++ pigpio, then sudo ${INSTALLER}, which compiles it`
    : 'sudo apt install g++ pigpio make python3, then npm rebuild pigpio in the folder of Sinew';
  return {
    what,
    state: 'wrong',
    text: `driver pigpio needs it, and it cannot be loaded: ${why}`,
    remedy: `${compile} (${MAKERS_ONLY})`,
  };
}
