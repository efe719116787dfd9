import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { MISSING, type World } from '../../src/boards/doctor.ts';
import { examine } from '../../src/doctor/examine.ts';
import { thisMachine } from '../../src/doctor/world.ts';
import { schemas } from '../../src/prop/schema.ts';

let root: string;
beforeEach(() => {
  root = mkdtempSync(join(tmpdir(), 'sinew-doctor-'));
});
afterEach(() => rmSync(root, { recursive: true }));

function put(path: string, text = ''): void {
  mkdirSync(dirname(join(root, path)), { recursive: true });
  writeFileSync(join(root, path), text);
}

/** A board with the files below `root`; `programs` are those it has, with what they print. */
function board(programs: Record<string, string | Error> = {}, packages: string[] = []): World {
  return {
    ...thisMachine(root),
    nodeVersion: '22.1.0',
    async run(program) {
      const said = programs[program];
      if (said instanceof Error) throw said;
      return said ?? MISSING;
    },
    cannotLoad: async (name) => (packages.includes(name) ? undefined : `no ${name}`),
  };
}

const HEALTHY = { vcgencmd: 'throttled=0x0\n', timedatectl: 'yes\n' };

function prop(spec: object) {
  return schemas().propFile.parse({
    sinew: 1,
    name: 'Test',
    boards: { main: spec },
    channels: {
      fan: { kind: 'relay', output: { board: 'main', pin: 8 } },
      lamp: { kind: 'lamp', output: { board: 'main', pin: 12 } },
    },
  });
}

/** The findings by what was looked at. */
async function found(world: World, spec?: object) {
  const findings = await examine(world, spec && prop(spec));
  for (const { state, what, remedy } of findings)
    expect(remedy !== undefined, `${what}: what is wrong has a remedy`).toBe(state === 'wrong');
  return Object.fromEntries(findings.map(({ what, ...rest }) => [what, rest]));
}

describe('the machine', () => {
  test('that is well', async () => {
    const all = await found(board(HEALTHY));
    expect(Object.values(all).map(({ state }) => state)).toEqual(['fine', 'fine', 'fine']);
  });

  test.each([
    // The bits as the board maker's documentation of vcgencmd has them (from memory).
    ['0x1', /^the voltage is too low$/],
    ['0x50000', /^the voltage is too low, or was since the start$/],
    ['0x50005', /^the voltage is too low$/],
    ['0x20002', /slowed down/],
    ['0x8', /temperature limit/],
  ])('whose flags are %s', async (flags, text) => {
    const { voltage } = await found(board({ ...HEALTHY, vcgencmd: `throttled=${flags}\n` }));
    expect(voltage!.state).toBe('wrong');
    expect(voltage!.text).toMatch(text);
  });

  test('with an old Node and a clock that nobody sets', async () => {
    const world = { ...board({ ...HEALTHY, timedatectl: 'no\n' }), nodeVersion: '18.20.4' };
    const { Node, clock } = await found(world);
    expect(Node).toMatchObject({ state: 'wrong', text: '18.20.4 is too old' });
    expect(clock!.remedy).toMatch(/set-ntp true/);
  });

  test('whose kernel tells what the missing program would', async () => {
    put('sys/class/hwmon/hwmon0/name', 'cpu_thermal\n');
    put('sys/class/hwmon/hwmon1/name', 'rpi_volt\n');
    put('sys/class/hwmon/hwmon1/in0_lcrit_alarm', '1\n');
    const { voltage: low } = await found(board({ timedatectl: 'yes\n' }));
    expect(low).toMatchObject({ state: 'wrong', text: 'the voltage is too low' });
    put('sys/class/hwmon/hwmon1/in0_lcrit_alarm', '0\n');
    const { voltage } = await found(board({ timedatectl: 'yes\n' }));
    expect(voltage).toMatchObject({ state: 'fine', text: 'not too low now' });
  });

  test('that cannot tell is not a finding', async () => {
    const { voltage, clock } = await found(board({ timedatectl: new Error('not booted so') }));
    expect(voltage!.state).toBe('unknown');
    expect(clock).toMatchObject({ state: 'unknown', text: 'not booted so' });
  });
});

describe('a pca9685', () => {
  const spec = { driver: 'pca9685', bus: 1, address: 0x41 };

  test('with all that it needs', async () => {
    put('dev/i2c-1');
    put('etc/passwd', 'root:x:0:0::/root:/bin/sh\nsinew:x:990:990::/var/lib/sinew:/bin/false\n');
    put('etc/group', 'gpio:x:997:pi\ni2c:x:998:pi,sinew\n');
    const all = await found(board({ ...HEALTHY, i2cset: '', i2cget: '0x20\n' }, ['koffi']), spec);
    expect(Object.values(all).filter(({ state }) => state !== 'fine')).toEqual([]);
    expect(all['board main: chip at 0x41']!.text).toBe('answers with MODE1 0x20');
  });

  test('on a board where nothing is prepared', async () => {
    put('etc/passwd', 'sinew:x:990:990::/var/lib/sinew:/bin/false\n');
    put('etc/group', 'i2c:x:998:sinew2\n');
    const all = await found(board(HEALTHY), spec);
    expect(all['board main: /dev/i2c-1']!.remedy).toMatch(/dtparam=i2c_arm=on/);
    expect(all['board main: group i2c']!.remedy).toBe(
      'sudo usermod -aG i2c sinew, then restart sinewd',
    );
    expect(all['board main: package koffi']).toEqual({
      state: 'wrong',
      text: 'driver pca9685 needs it, and it cannot be loaded: no koffi',
      remedy: 'npm ci in the folder of Sinew',
    });
    expect(all['board main: program i2cset']!.remedy).toBe('sudo apt install i2c-tools');
    // Without the bus nobody can be asked.
    expect(all['board main: chip at 0x41']).toBeUndefined();
  });

  test('without its package, where a release is installed: no npm is needed', async () => {
    put('opt/sinew/install.sh');
    const all = await found(board(HEALTHY), spec);
    expect(all['board main: package koffi']!.remedy).toBe(
      'run install.sh of a release for this kind of board again',
    );
  });

  test('whose chip does not answer', async () => {
    put('dev/i2c-1');
    const programs = { ...HEALTHY, i2cset: '', i2cget: new Error('Error: Read failed') };
    const all = await found(board(programs, ['koffi']), spec);
    expect(all['board main: chip at 0x41']!.text).toBe('does not answer: Error: Read failed');
    expect(all['board main: group i2c']!.state).toBe('unknown');
  });
});

describe('a linux board', () => {
  const spec = { driver: 'linux', chip: 'gpiochip0', pwmChip: 0 };

  test('without the PWM overlay', async () => {
    put('dev/gpiochip0');
    const all = await found(board({ ...HEALTHY, gpioset: '' }, ['koffi']), spec);
    expect(all['board main: /dev/gpiochip0']!.state).toBe('fine');
    expect(all['board main: program gpioset']!.state).toBe('fine');
    expect(all['board main: /sys/class/pwm/pwmchip0']!.remedy).toMatch(/dtoverlay=pwm-2chan/);
    mkdirSync(join(root, 'sys/class/pwm/pwmchip0'), { recursive: true });
    const then = await found(board({ ...HEALTHY, gpioset: '' }, ['koffi']), spec);
    expect(then['board main: /sys/class/pwm/pwmchip0']!.state).toBe('fine');
    expect(then['board main: PWM pins']!.state).toBe('unknown');
  });

  test.each([
    [[40, 41], 'wrong', /does not come out at GPIO 12 \(lamp\).* GPIO 40 and GPIO 41$/],
    [[12, 13], 'fine', /comes out at GPIO 12 \(lamp\)/],
  ])('whose device tree has the PWM on GPIO %j', async (pins, state, text) => {
    put('dev/gpiochip0');
    mkdirSync(join(root, 'sys/class/pwm/pwmchip0'), { recursive: true });
    const world = { ...board(HEALTHY, ['koffi']), pwmPins: async () => new Set(pins) };
    const finding = (await found(world, spec))['board main: PWM pins']!;
    expect(finding.state).toBe(state);
    expect(finding.text).toMatch(text);
  });

  test('without the package koffi', async () => {
    const all = await found(board(HEALTHY), spec);
    expect(all['board main: package koffi']!.remedy).toBe('npm ci in the folder of Sinew');
  });
});

describe('a pigpio board', () => {
  test.each([
    ['bcm2711', 'fine'],
    ['bcm2712', 'wrong'],
  ])('with the processor %s', async (processor, state) => {
    put('proc/device-tree/compatible', `maker,4-model-b\0brcm,${processor}\0`);
    put('dev/mem');
    const all = await found(board({ ...HEALTHY, 'raspi-gpio': '' }, ['pigpio']), {
      driver: 'pigpio',
    });
    expect(all['board main: processor']!.state).toBe(state);
    // The older of the two programs will do.
    expect(all['board main: program raspi-gpio']!.state).toBe('fine');
    expect(all['board main: package pigpio']!.state).toBe('fine');
  });

  test('without its add-on, in a clone and where a release is installed', async () => {
    const spec = { driver: 'pigpio' };
    const own =
      "(the board maker's own system has it, plain Debian does not: use driver: linux there)";
    const inClone = await found(board(HEALTHY), spec);
    expect(inClone['board main: package pigpio']).toEqual({
      state: 'wrong',
      text: 'driver pigpio needs it, and it cannot be loaded: no pigpio',
      remedy: `sudo apt install g++ pigpio make python3, then npm rebuild pigpio in the folder of Sinew ${own}`,
    });
    put('opt/sinew/install.sh');
    const installed = await found(board(HEALTHY), spec);
    expect(installed['board main: package pigpio']!.remedy).toBe(
      `sudo apt install g++ pigpio, then sudo /opt/sinew/install.sh, which compiles it ${own}`,
    );
  });
});

test('a simulated prop needs nothing', async () => {
  const all = await found(board(HEALTHY), { driver: 'sim' });
  expect(all['board main: sim']!.state).toBe('fine');
});

test('this machine tells what is there, what is not, and what fails', async () => {
  const world = thisMachine();
  expect(await world.exists('/proc/self/stat')).toBe(true);
  expect(await world.read('/no/such/file')).toBeUndefined();
  expect(await world.run('no-such-program-anywhere')).toBe(MISSING);
  expect(await world.run('sh', '-c', 'echo well')).toBe('well\n');
  await expect(world.run('sh', '-c', 'echo ill >&2; exit 1')).rejects.toThrow('ill');
  expect(await world.cannotLoad('zod')).toBeUndefined();
  expect(await world.cannotLoad('no-such-package-anywhere')).toMatch(/no-such-package/);
});
