import { execFileSync } from 'node:child_process';
import { cpSync, existsSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { Built } from '../boards/hanging.ts';
import type { Image } from '../emulated/debian.ts';
import { type Machine, type Pace, packBag } from '../emulated/machine.ts';
import { highNs, traceWrites, writesAfter } from '../emulated/trace.ts';
import { WITH_WATCHDOG, WITHOUT_WATCHDOG } from '../emulated/watchdog.ts';
import { type Chip, chip, type Led, lines } from './board.ts';
import { image } from './image.ts';
import { bootPc } from './pc.ts';

/**
 * A release on a whole machine: Debian's kernel and systemd in qemu, two PCA9685, an INA226 and an
 * ADS1115 by the module i2c-stub, and GPIO and PWM chips of our own behind the kernel's interfaces. What comes out is
 * looked at with i2c-tools, sysfs and the kernel's trace. Each test goes on where the one before ended.
 */

const clone = fileURLToPath(new URL('../..', import.meta.url));
const here = fileURLToPath(new URL('.', import.meta.url));
/** Addresses of the chips in guest/prop.yaml. */
const [SERVOS, OUTS] = [0x40, 0x41];
const MODE1_AUTO_INCREMENT = 0x20;
const MODE2_OUTDRV = 0x04;

let folder: string;
let made: Image;
let machine: Machine;
let lastMs = performance.now();
const times: string[] = [];

/** Notes how long something took on this machine. */
function lap(what: string): void {
  const nowMs = performance.now();
  times.push(`${((nowMs - lastMs) / 1000).toFixed(1).padStart(7)} s  ${what}`);
  lastMs = nowMs;
}

const boot = (pace: Pace) => bootPc(made, folder, pace);

/** What the machine gets: the release as npm run package makes it, and what the tests need. */
async function makeBag(): Promise<void> {
  const bag = join(folder, 'bag');
  mkdirSync(bag);
  execFileSync('sh', [join(clone, 'systemd/package.sh'), join(bag, 'release.tgz')]);
  cpSync(join(here, 'guest/prop.yaml'), join(bag, 'prop.yaml'));
  cpSync(join(here, 'guest/test.conf'), join(bag, 'test.conf'));
  cpSync(join(clone, 'tests/systemd/block.mjs'), join(bag, 'block.mjs'));
  const built = await Built.make('tests/kernel/guest/sense.ts');
  cpSync(join(built.folder, 'program.js'), join(bag, 'sense.mjs'));
  built.cleanUp();
  packBag(join(folder, 'bag.tar'), bag);
}

/** What guest/sense.ts prints. */
interface Sensed {
  readings: { value: number | null; fault: string | null }[];
  news: string[];
}

const untilRunning = () => machine.run('until systemctl -q is-active sinewd; do sleep 0.2; done');

/** Runs lines at Sinew's own prompt, and leaves the prop as it is then for five minutes. */
const session = (...typed: string[]) =>
  machine.run(
    `printf '%s\\n' ${typed.map((line) => `'${line}'`).join(' ')} | sinew --grace 300 session`,
  );

const ALL_ON = [
  'switch pump on',
  'switch fan on',
  'switch mist on',
  'switch bell on',
  'dim glow 1',
];

/** All relays closed, a lamp lit, and three servos held. */
async function expectAllOn(): Promise<void> {
  const [servos, outs, level] = [
    await chip(machine, SERVOS),
    await chip(machine, OUTS),
    await lines(machine),
  ];
  for (const n of [0, 15]) expect(servos.led[n]).toMatchObject({ fullOn: false, fullOff: false });
  expect(outs.led[3]).toEqual(FULL_OFF);
  expect(outs.led[4]).toEqual(FULL_ON);
  expect(outs.led[8]).toEqual(FULL_ON);
  expect([level(23), level(24)]).toEqual([0, 1]);
  expect(await highNs(machine, 0)).toBeGreaterThan(0);
}

/** Every relay open, whatever level that takes; no pulses; dark. */
async function expectSafe(): Promise<void> {
  const [servos, outs, level] = [
    await chip(machine, SERVOS),
    await chip(machine, OUTS),
    await lines(machine),
  ];
  for (const n of [0, 15]) expect(servos.led[n]!.fullOff, `servo ${n}`).toBe(true);
  expect(outs.led[3]).toEqual(FULL_ON);
  expect(outs.led[4]).toEqual(FULL_OFF);
  expect(outs.led[8]).toEqual(FULL_OFF);
  expect([level(23), level(24)]).toEqual([1, 0]);
  expect([await highNs(machine, 0), await highNs(machine, 1)]).toEqual([0, 0]);
}

/** Registers of 16 bits, as i2c-tools see them: low byte first. */
const swapped = (word: number) => `0x${(((word & 0xff) << 8) | (word >> 8)).toString(16)}`;
const setWord = (address: number, register: number, word: number) =>
  `i2cset -y 0 ${address} ${register} ${swapped(word)} w`;
const getWord = async (address: number, register: number) => {
  const said = Number(await machine.run(`i2cget -y 0 ${address} ${register} w`));
  return ((said & 0xff) << 8) | (said >> 8);
};
const [METER, ADC] = [0x45, 0x48];
/**
 * An INA226 with 30 mV at its shunt and 6 V behind it, and an ADS1115 with 1.5 V at its input, by
 * drivers/hwmon/ina2xx.c and drivers/iio/adc/ti-ads1015.c of this kernel; what is there after power-on, and
 * the flag of a finished conversion, by their data sheets (from memory).
 */
const AS_MEASURING = [
  setWord(METER, 0xfe, 0x5449),
  setWord(METER, 0xff, 0x2260),
  setWord(METER, 0, 0x4127),
  setWord(METER, 6, 8),
  setWord(METER, 1, 12_000),
  setWord(METER, 2, 4800),
  setWord(ADC, 2, 0x8000),
  setWord(ADC, 3, 0x7fff),
  setWord(ADC, 0, 12_000),
].join('\n');

const FULL_ON: Led = { on: 0, off: 0, fullOn: true, fullOff: false };
const FULL_OFF: Led = { on: 0, off: 0, fullOn: false, fullOff: true };
/** High for `counts` of 4096 steps from the start of each period. */
const high = (counts: number): Led => ({ on: 0, off: counts, fullOn: false, fullOff: false });

/**
 * Steps of a pulse, by 7.3.3 and 7.3.5 of the NXP PCA9685 data sheet rev. 4 (from memory): a step is
 * (PRE_SCALE + 1) / 25 MHz.
 */
const counts = (pulseUs: number, { preScale }: Chip) => Math.round((pulseUs * 25) / (preScale + 1));

beforeAll(async () => {
  made = image();
  lap('the image, of an earlier run or made now');
  folder = mkdtempSync(join(tmpdir(), 'sinew-kernel-'));
  execFileSync('cp', ['--sparse=always', made.disk, join(folder, 'disk')]);
  await makeBag();
  machine = await boot('quick');
  lap('a first boot, quick');
});
afterAll(async () => {
  await machine?.cutPower();
  if (folder && existsSync(folder)) rmSync(folder, { recursive: true });
  console.log(['times of this run:', ...times].join('\n'));
});

it('one command installs a release', async () => {
  await machine.run(WITHOUT_WATCHDOG);
  const said = await machine.run(
    'set -e; cd /root; tar xf /dev/vdb; tar xzf release.tgz; cd sinew-*; ./install.sh',
  );
  expect(said).toMatch(/Sinew \S+ is installed/);
  lap('the installation, quick');
  const look =
    await machine.run(`id -nG sinew | tr ' ' '\\n' | sort | xargs; systemctl is-active sinewd; systemctl is-enabled sinewd
stat -c '%a %U' /etc/sinew/token; stat -c '%a %G' /dev/i2c-0 /dev/gpiochip0 /sys/class/pwm/pwmchip0/export`);
  expect(look.trim().split('\n')).toEqual([
    'audio gpio i2c sinew',
    'active',
    'enabled',
    '600 sinew',
    '660 i2c',
    '660 gpio',
    '220 gpio',
  ]);
});

it('doctor finds nothing missing, and the unit has few rights', async () => {
  await machine.run(`set -e; cd /root
cat prop.yaml >/var/lib/sinew/prop.yaml
cp block.mjs /opt/
cp test.conf /etc/systemd/system/sinewd.service.d/
${AS_MEASURING}`);
  // Who is asked about the clock starts when he is first asked, which can take long here; doctor does
  // not wait for long.
  const { said } = await machine.try(
    'timedatectl show >/dev/null; i2cget -y 0 0x40 0 >/dev/null; sinew --json doctor',
  );
  const { findings } = JSON.parse(said) as { findings: { what: string; state: string }[] };
  const of = (state: string) =>
    findings.filter((one) => one.state === state).map(({ what }) => what);
  // No network, so no time server; no vcgencmd, and no device tree.
  expect(of('wrong'), said).toEqual(['clock']);
  expect(of('unknown')).toEqual(['voltage', 'board header: PWM pins']);
  expect(of('fine')).toEqual(
    expect.arrayContaining([
      'board servos: chip at 0x40',
      'board servos: package koffi',
      'board outs: chip at 0x41',
      'board meter: chip at 0x45',
      'board adc: chip at 0x48',
      'board header: /dev/gpiochip0',
      'board header: /sys/class/pwm/pwmchip0',
      'board header: package koffi',
    ]),
  );
  const security = await machine.run('systemd-analyze security --no-pager sinewd | tail -1');
  expect(
    Number(/exposure level for sinewd.service: ([\d.]+)/.exec(security)?.[1]),
  ).toBeLessThanOrEqual(3);
  lap('doctor and security, quick');
});

it('meters are read beside the chips that move servos, and set up again after a reset', async () => {
  const until = (test: string) => `for i in $(seq 300); do ${test} && break; sleep 0.2; done`;
  // The daemon takes over the new file in its own time, and sets its chips up then.
  await machine.run(until(`[ $(i2cget -y 0 ${SERVOS} 0) = 0x20 ]`));
  const before = await chip(machine, SERVOS);
  expect(before.mode1).toBe(MODE1_AUTO_INCREMENT);
  // Reads until /run/sense-enough is there; by then all have been read, or failed.
  const sense = (then: string) => `rm -f /run/sense-enough /run/sense-said
/opt/sinew/bin/node /opt/sinew/dist/sense.mjs /run/sense-enough </dev/null >/run/sense-said 2>/run/sense-remarks &
${until('grep -qs ready /run/sense-said')}
${then}
touch /run/sense-enough; wait; tail -1 /run/sense-said`;
  const { readings, news } = JSON.parse(
    await machine.run(`cp ~root/sense.mjs /opt/sinew/dist/
${sense(`${setWord(METER, 5, 0)}; ${setWord(METER, 0, 0x4127)}
${until(`[ $(i2cget -y 0 ${METER} 0 w) = ${swapped(0x4327)} ]`)}; sleep 1`)}`),
  ) as Sensed;
  expect(readings.map(({ fault }) => fault)).toEqual([null, null, null]);
  expect(readings[0]!.value).toBeCloseTo(3, 9);
  expect(readings[1]!.value).toBeCloseTo(6, 9);
  expect(readings[2]!.value).toBeCloseTo(1.5, 9);
  expect(news).toEqual([expect.stringMatching(/0x45 .* had lost its settings/)]);
  // By the tables of bits: averages of 4 and 1.1 ms, both, continuously; input 0 up to 4.096 V, once.
  expect(await getWord(METER, 0)).toBe(0x4327);
  expect(await getWord(METER, 5)).toBe(2048);
  expect(await getWord(ADC, 1)).toBe(0xc3e3);
  // Another chip answers there: nothing of it is believed, and nothing is written to it.
  const other = JSON.parse(
    await machine.run(`${setWord(METER, 0xfe, 0)}; ${setWord(METER, 0, 0x1234)}; ${sense('')}`),
  ) as Sensed;
  expect(other.readings[0]).toMatchObject({ value: null });
  expect(other.readings[0]!.fault).toMatch(/0x45 on I2C bus 0 is not an INA226/);
  expect(other.readings[2]!.value).toBeCloseTo(1.5, 9);
  expect(await getWord(METER, 0)).toBe(0x1234);
  expect(await chip(machine, SERVOS)).toEqual(before);
  lap('meters, quick');
});

it('it starts with the machine, with every output safe', async () => {
  await machine.run(WITH_WATCHDOG);
  await machine.powerOff();
  lap('off, quick');
  machine = await boot('exact');
  lap('a boot, exact');
  await untilRunning();
  await machine.run(traceWrites(['smbus/smbus_write', 'gpio/gpio_value', 'pwm/pwm_apply']));
  lap('until sinewd runs, exact');
  const [servos, outs] = [await chip(machine, SERVOS), await chip(machine, OUTS)];
  // 7.3.5: round(25 MHz / (4096 × 50 Hz)) - 1; 1Eh is the data sheet's own value for 200 Hz.
  expect(servos.preScale).toBe(121);
  expect(outs.preScale).toBe(0x1e);
  for (const { mode1, mode2 } of [servos, outs]) {
    // 7.3.1, 7.3.2: awake, auto-increment, no all-call; totem pole, not inverted.
    expect(mode1).toBe(MODE1_AUTO_INCREMENT);
    expect(mode2).toBe(MODE2_OUTDRV);
  }
  await expectSafe();
});

it('commands come out as registers, levels and pulses', async () => {
  // The power was off: nobody knows where the servos are.
  const said = await session('wake --confirm-unknown', ...ALL_ON, 'move arm up', 'dim lantern 0.5');
  for (const name of ['arm', 'leg', 'wing'])
    expect(said).toMatch(new RegExp(`${name} goes .* nobody knows`));
  const servos = await chip(machine, SERVOS);
  // 30 deg between 1000 us at -45 and 2000 us at 45; 45 deg between 1000 us at 0 and 2000 us at 90.
  expect(servos.led[0]).toEqual(high(counts(1000 + (1000 * (30 + 45)) / 90, servos)));
  expect(servos.led[15]).toEqual(high(counts(1500, servos)));
  for (let n = 1; n < 15; n++) expect(servos.led[n]).toEqual(FULL_OFF);
  expect(await highNs(machine, 0)).toBe(1_500_000);
  // CIE 15: Y = ((L* + 16) / 116)^3 at L* = 50, of a period of 800 us.
  expect(await highNs(machine, 1)).toBeCloseTo(800_000 * ((50 + 16) / 116) ** 3, -2);
  await expectAllOn();
});

it('sinew-safe-levels keeps its hands off while the daemon lives', async () => {
  const { code, said } = await machine.try('sinew-safe-levels');
  expect(code).toBe(1);
  expect(said).toMatch(/still runs/);
  await expectAllOn();
});

it('a stop button that opens its contact drops everything', async () => {
  await machine.run(`echo button >/sys/kernel/tracing/trace_marker
echo 0 >/sys/module/header_board/parameters/grounded; sleep 0.5
echo 0x10 >/sys/module/header_board/parameters/grounded`);
  await expectSafe();
  const writes = await writesAfter(machine, 'button');
  expect(writes.length).toBeGreaterThan(0);
  const ms = writes.at(-1)!.ms;
  times.push(`${ms.toFixed(1).padStart(7)} ms from the button to the last output (in the machine)`);
  // A tick of 5 ms until it is seen, one more to spare, and the bus.
  expect(ms).toBeLessThanOrEqual(20);
});

it.each([
  ['that is killed', 'KILL'],
  ['that is stopped as a whole', 'STOP'],
  ['whose core spins', 'USR2'],
])('a daemon %s: all is safe within 1 s', async (_, signal) => {
  // After the button the condition is stopped, after the deaths that follow it is parked. A stop stands 2 s.
  await machine.run('sleep 2.5');
  await session('reset --confirm "stop button"', 'wake --confirm-unknown', ...ALL_ON);
  await expectAllOn();
  await machine.run(`pid=$(systemctl show -P MainPID sinewd)
echo ${signal} >/sys/kernel/tracing/trace_marker
kill -${signal} $pid
sleep 1.2`);
  // Before the next daemon touches anything.
  await expectSafe();
  const writes = await writesAfter(machine, signal);
  expect(await machine.run('systemctl show -P SubState sinewd')).toBe('auto-restart\n');
  const by = new Set(writes.map((write) => write.by));
  expect(by).toEqual(new Set(['node', 'i2cset', 'gpioset']));
  const ms = writes.at(-1)!.ms;
  times.push(
    `${ms.toFixed(0).padStart(7)} ms from SIG${signal} to the last output (in the machine)`,
  );
  expect(ms).toBeLessThanOrEqual(1000);
  await untilRunning();
  lap(`a death by SIG${signal} and the next start, exact`);
});

it('after a power cut in motion the prop is parked and its servos unknown', async () => {
  // Two deaths were of the watchdog, and it has killed no daemon that was well.
  const killed = await machine.run("journalctl -b -u sinewd | grep -c 'Watchdog timeout'");
  expect(killed).toBe('2\n');
  await session('wake --confirm-unknown', ...ALL_ON);
  // In the background, and under way when it is over.
  await machine.run(`systemd-run --quiet --unit=desk sh -c 'echo move arm 40 --over 60 | sinew session'
echo move >/sys/kernel/tracing/trace_marker; cd /sys/kernel/tracing
until sed -n '/_write: move$/,$p' trace | grep -q 'a=040'; do sleep 0.1; done; sleep 0.5`);
  await expectAllOn();
  await machine.cutPower();
  machine = await boot('exact');
  await untilRunning();
  lap('a power cut and the next start, exact');
  await expectSafe();
  const state = JSON.parse(await machine.run('cat /run/state-at-start.json'));
  expect(state.settled).toBe(false);
  expect(JSON.parse(await machine.run('sinew --json status'))).toMatchObject({
    condition: 'parked',
  });
  const woken = await session('wake --confirm-unknown', ...ALL_ON);
  expect(woken).toMatch(/arm goes to 0 deg from a position nobody knows, alone/);
  await expectAllOn();
});

it('uninstalling leaves the prop parked, and no program', async () => {
  const said = await machine.run('/opt/sinew/install.sh --uninstall');
  expect(said).toMatch(/Sinew is removed\./);
  // 7.3.4: ALL_LED_OFF_H, which the daemon writes at its end; i2c-stub just keeps the byte.
  expect(await machine.run(`i2cget -y 0 ${SERVOS} 0xfd`)).toBe('0x10\n');
  await expectSafe();
  const left = await machine.try(
    'ls -d /opt/sinew /etc/systemd/system/sinewd.service /var/lib/sinew/prop.yaml',
  );
  expect(left.said.match(/^\/\S+$/gm)).toEqual(['/var/lib/sinew/prop.yaml']);
  lap('waking after it, and the uninstallation, exact');
});
