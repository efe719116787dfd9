import { pinTrouble } from '../drivers/pin-function.ts';
import type { Board, Prop } from '../prop/schema.ts';
import { MISSING, type World } from './world.ts';

export interface Finding {
  /** What was looked at: `Node`, `board head: /dev/i2c-1`. */
  what: string;
  /** `unknown`: this machine cannot tell. */
  state: 'fine' | 'wrong' | 'unknown';
  /** How it is. */
  text: string;
  /** What to do about it, when it is wrong. */
  remedy?: string;
}

/** A channel of the prop on the board that is looked at. */
export interface Output {
  name: string;
  kind: Prop['channels'][string]['kind'];
  pins: readonly number[];
}

const CONFIG = '/boot/firmware/config.txt';
/** Where an installed release is; a clone has npm instead. */
const INSTALLER = '/opt/sinew/install.sh';
/** The user that the service runs as. */
const SERVICE_USER = 'sinew';

/** What one board of the prop needs. */
export async function board(
  world: World,
  name: string,
  spec: Board,
  outputs: readonly Output[],
): Promise<Finding[]> {
  const findings = await needs(world, spec, outputs);
  return findings.map((finding) => ({ ...finding, what: `board ${name}: ${finding.what}` }));
}

async function needs(world: World, spec: Board, outputs: readonly Output[]): Promise<Finding[]> {
  switch (spec.driver) {
    case 'sim':
      return [{ what: 'sim', state: 'fine', text: 'needs nothing' }];
    case 'pca9685':
      return pca9685(world, spec.bus, spec.address);
    case 'pigpio':
      return pigpio(world);
    case 'linux':
      return linux(world, spec.chip, spec.pwmChip, outputs);
  }
}

async function pca9685(world: World, bus: number, address: number): Promise<Finding[]> {
  const device = `/dev/i2c-${bus}`;
  const findings = [
    await file(
      world,
      device,
      `switch the bus on: dtparam=i2c_arm=on in ${CONFIG}, modprobe i2c-dev, then restart the board`,
    ),
    await group(world, 'i2c'),
    await koffi(world, 'pca9685'),
    await program(world, ['i2cset'], 'i2c-tools'),
  ];
  if (findings[0]!.state === 'fine') findings.push(await answers(world, bus, address));
  return findings;
}

/** Reads MODE1, which changes nothing. */
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

async function pigpio(world: World): Promise<Finding[]> {
  return [
    await processor(world),
    await addon(world),
    await program(world, ['pinctrl', 'raspi-gpio'], 'raspi-utils', MAKERS_ONLY),
    await file(world, '/dev/mem', 'use a kernel that has it (CONFIG_DEVMEM)'),
  ];
}

/** The processors that the library knows the registers of. (from memory) */
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

async function linux(
  world: World,
  chip: string,
  pwmChip: number,
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
  if (there.state === 'fine') findings.push(await pwmOut(world, folder, pulsed));
  return findings;
}

/** Where the PWM comes out, of which the chip itself knows nothing. */
async function pwmOut(
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
  const trouble = pinTrouble(pins, pulsed);
  if (trouble) return { what, state: 'wrong', ...trouble };
  const named = pulsed.map(({ name, pin }) => `GPIO ${pin} (${name})`).join(', ');
  return { what, state: 'fine', text: `the PWM comes out at ${named}` };
}

async function file({ exists }: World, path: string, remedy: string): Promise<Finding> {
  if (await exists(path)) return { what: path, state: 'fine', text: 'is there' };
  return { what: path, state: 'wrong', text: 'is missing', remedy };
}

/** Of packages that are in the board maker's system and not in Debian 12 (its archive for arm64). */
const MAKERS_ONLY =
  "the board maker's own system has it, plain Debian does not: use driver: linux there";

/** The npm package pigpio, whose native part is compiled on the machine that uses it. */
async function addon(world: World): Promise<Finding> {
  const what = 'package pigpio';
  const why = await world.cannotLoad('pigpio');
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

/** It is not compiled here: its own package brings what is needed. */
async function koffi(world: World, driver: string): Promise<Finding> {
  const what = 'package koffi';
  const why = await world.cannotLoad('koffi');
  if (why === undefined) return { what, state: 'fine', text: 'can be loaded' };
  return {
    what,
    state: 'wrong',
    text: `driver ${driver} needs it, and it cannot be loaded: ${why}`,
    remedy: (await world.exists(INSTALLER))
      ? 'run install.sh of a release for this kind of board again'
      : 'npm ci in the folder of Sinew',
  };
}

/** A program that sinew-safe-levels needs; any of `names` will do. */
async function program(
  { run }: World,
  names: string[],
  from: string,
  note?: string,
): Promise<Finding> {
  for (const name of names) {
    // A program that is there may well refuse to run without arguments.
    const said = await run(name, '-h').catch(() => '');
    if (said !== MISSING)
      return { what: `program ${name}`, state: 'fine', text: 'is there for sinew-safe-levels' };
  }
  return {
    what: `program ${names[0]}`,
    state: 'wrong',
    text: 'is not installed: sinew-safe-levels cannot make this board safe without it',
    remedy: `sudo apt install ${from}${note ? ` (${note})` : ''}`,
  };
}

async function group({ read }: World, name: string): Promise<Finding> {
  const what = `group ${name}`;
  const users: string[] = (await read('/etc/passwd'))?.match(/^[^:\n]+/gm) ?? [];
  if (!users.includes(SERVICE_USER))
    return {
      what,
      state: 'unknown',
      text: `there is no user ${SERVICE_USER}: Sinew is not installed as a service`,
    };
  // group(5): name:password:number:member,member
  const line = (await read('/etc/group'))?.split('\n').find((one) => one.startsWith(`${name}:`));
  if (line?.split(':')[3]?.split(',').includes(SERVICE_USER))
    return { what, state: 'fine', text: `has the user ${SERVICE_USER}` };
  return {
    what,
    state: 'wrong',
    text: line ? `does not have the user ${SERVICE_USER}` : 'does not exist',
    remedy: line
      ? `sudo usermod -aG ${name} ${SERVICE_USER}, then restart sinewd`
      : 'run install.sh again, which makes it',
  };
}
