import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import {
  cpSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, it } from 'vitest';
import type { Machine, Pace } from '../emulated/machine.ts';
import { highNs, traceWrites, writesAfter } from '../emulated/trace.ts';
import { needTools } from '../tools.ts';
import { bootBoard, Pins } from './board.ts';
import { type BoardImage, image } from './image.ts';

/**
 * A release on an emulated single-board computer: Debian's arm64 kernel with its own drivers of the
 * GPIO and PWM chips. Levels are read from the chip's registers, from outside, and from the kernel's
 * trace. Each test goes on where the one before ended.
 */

const clone = fileURLToPath(new URL('../..', import.meta.url));
const here = fileURLToPath(new URL('.', import.meta.url));
const { version } = JSON.parse(readFileSync(join(clone, 'package.json'), 'utf8'));

/** Pins of guest/prop.yaml. */
const [STOP, WING, LANTERN, MIST, BELL] = [4, 12, 13, 23, 24];

let folder: string;
let made: BoardImage;
let machine: Machine;
let pins: Pins;
/** What the installation said. */
let said: string;
let lastMs = performance.now();
const times: string[] = [];

/** Notes how long something took on this machine. */
function lap(what: string): void {
  const nowMs = performance.now();
  times.push(`${((nowMs - lastMs) / 1000).toFixed(1).padStart(7)} s  ${what}`);
  // At once: this takes minutes.
  process.stderr.write(`${times.at(-1)}\n`);
  lastMs = nowMs;
}
/** Notes a time that was measured in the emulated machine. */
const note = (ms: number, what: string) =>
  times.push(`${ms.toFixed(1).padStart(7)} ms from ${what} (in the machine)`);

async function boot(pace: Pace, tree: keyof BoardImage['trees']): Promise<void> {
  machine = await bootBoard(made, folder, pace, tree);
  pins = await Pins.connect(folder);
}

/** Puts files of `bag` into /root of a machine that is off. */
function putOnCard(bag: string, names: string[]): void {
  for (const name of names)
    execFileSync(
      '/sbin/debugfs',
      [...['-w', '-R', `write ${join(bag, name)} root/${name}`, join(folder, 'disk')]],
      { stdio: ['ignore', 'ignore', 'pipe'] },
    );
}

const untilRunning = () => machine.run('until systemctl -q is-active sinewd; do sleep 0.2; done');
const processId = async () => (await machine.run('systemctl show -P MainPID sinewd')).trim();

/** The owl with one more servo, on the header: a prop file of a length that people write. */
function owlOnHeader(): string {
  let text = readFileSync(join(clone, 'config/owl.yaml'), 'utf8');
  for (const [place, more] of [
    ['\nboards:\n', '  header: { driver: linux, chip: gpiochip0, pwmChip: 0 }\n'],
    [
      '\nchannels:\n',
      `  flap:
    kind: servo
    output: { board: header, pin: ${WING} }
    calibration: [[1000, -45], [2000, 45]]
    speedDegS: 240
    accelDegS2: 2400
    marks: { rest: 0 }
    park: { to: rest, then: release }
`,
    ],
  ] as const) {
    if (!text.includes(place)) throw new Error(`the owl has no ${place.trim()}`);
    text = text.replace(place, `${place}${more}`);
  }
  return text;
}

/** Runs lines at Sinew's own prompt, and leaves the prop as it is then for five minutes. */
const session = (...typed: string[]) =>
  machine.run(
    `printf '%s\\n' ${typed.map((line) => `'${line}'`).join(' ')} | sinew --grace 300 session`,
  );

/** Awake with all on, also where the test before has left the daemon dead or the prop stopped. */
async function allOn(): Promise<void> {
  await untilRunning();
  const now = await condition();
  if (now === 'stopped') await machine.run(RESET);
  if (now === 'faulted') throw new Error(`faulted:\n${await machine.run('sinew journal')}`);
  await session('wake --confirm-unknown', ...ALL_ON);
  await expectAllOn();
}

/** Somebody else's stop stands for 2 s. */
const RESET = `sleep 2.2; sinew reset --confirm 'stop button'`;

const ALL_ON = ['switch mist on', 'switch bell on', 'dim lantern 1'];

/** A level that is written to a line, as the kernel's trace has it: by numbers of its own. */
async function written(pin: number, level: 0 | 1): Promise<string> {
  const base = await machine.run(
    'cd /sys/class/gpio; cat $(dirname $(grep -l pinctrl-bcm2835 gpiochip*/label))/base',
  );
  return `gpio_value: ${Number(base) + pin} set ${level}`;
}

const condition = async () => JSON.parse(await machine.run('sinew --json status')).condition;

/** Both relays closed by outputs, pulses and light at the pins of the PWM. */
async function expectAllOn(): Promise<void> {
  expect(await pins.pin(MIST)).toEqual({ function: 'output', level: 0 });
  expect(await pins.pin(BELL)).toEqual({ function: 'output', level: 1 });
  for (const pin of [WING, LANTERN]) expect((await pins.pin(pin)).function).toBe('alt0');
  expect(await highNs(machine, 0)).toBeGreaterThan(0);
  expect(await highNs(machine, 1)).toBeGreaterThan(0);
}

/** Both relays held open by outputs; no pulses; dark. */
async function expectHeldSafe(): Promise<void> {
  expect(await pins.pin(MIST)).toEqual({ function: 'output', level: 1 });
  expect(await pins.pin(BELL)).toEqual({ function: 'output', level: 0 });
  expect([await highNs(machine, 0), await highNs(machine, 1)]).toEqual([0, 0]);
}

/**
 * Both relays let go, each last driven to its safe level and pulled there; no pulses; dark. The pulls
 * are not emulated: they are what the kernel was asked for.
 */
async function expectLetGoSafe(): Promise<void> {
  for (const pin of [MIST, BELL]) expect((await pins.pin(pin)).function, `${pin}`).toBe('input');
  expect([(await pins.pin(MIST)).level, (await pins.pin(BELL)).level]).toEqual([1, 0]);
  expect([await highNs(machine, 0), await highNs(machine, 1)]).toEqual([0, 0]);
}

/** Direction, levels and pulls of the relays' pins; the enumeration is the driver's (GPPUD, 6.1). */
const TRACE = `${traceWrites(['gpio/gpio_value', 'gpio/gpio_direction', 'pwm/pwm_apply'])}
echo 'p:pull bcm2835_pull_config_set pin=%x1:u32 to=%x2:u32' >kprobe_events
echo 1 >events/kprobes/pull/enable`;

/** The pin and the pull that the driver was asked for, if a line of the trace is about that. */
const pulledTo = (what: string) => /^pull: .*pin=(\d+) to=(\d)/.exec(what)?.slice(1, 3);

/**
 * Installs the release, or takes the card on which the very same release was installed before, on the
 * same image: a card is slow here. Returns what install.sh said.
 */
async function install(release: string): Promise<string> {
  const hash = createHash('sha256').update(made.disk).update(readFileSync(release));
  // What else is done to the card.
  for (const file of ['raspi.test.ts', 'guest/prop.yaml'])
    hash.update(readFileSync(join(here, file)));
  const kept = join(tmpdir(), `sinew-raspi-installed-${hash.digest('hex').slice(0, 16)}`);
  const copy = (from: string, to: string) => execFileSync('cp', ['--sparse=always', from, to]);
  if (existsSync(kept)) {
    copy(join(kept, 'disk'), join(folder, 'disk'));
    lap('the card, of an earlier run');
    return readFileSync(join(kept, 'said'), 'utf8');
  }
  // Exact: at the pace quick, on a busy computer, the kernel's driver of the card gives up on it.
  await boot('exact', 'debian');
  lap('a first boot, exact');
  // What the README says.
  const said = await machine.run(
    `cd /root && tar xzf sinew-${version}.tgz && sinew-${version}/install.sh`,
  );
  lap('the installation, exact');
  await untilRunning();
  pins.close();
  await machine.powerOff();
  const half = `${kept}.${process.pid}`;
  mkdirSync(half);
  copy(join(folder, 'disk'), join(half, 'disk'));
  writeFileSync(join(half, 'said'), said);
  if (existsSync(kept)) rmSync(half, { recursive: true });
  else renameSync(half, kept);
  return said;
}

beforeAll(async () => {
  made = image();
  lap('the image, of an earlier run or made now');
  folder = mkdtempSync(join(tmpdir(), 'sinew-raspi-run-'));
  execFileSync('cp', ['--sparse=always', made.disk, join(folder, 'disk')]);
  const bag = join(folder, 'bag');
  mkdirSync(bag);
  const contents = execFileSync(
    'sh',
    [join(clone, 'systemd/package.sh'), join(bag, `sinew-${version}.tgz`)],
    { encoding: 'utf8' },
  );
  expect(contents).toMatch(/^Node 20\.\S+ for arm64$/m);
  cpSync(join(here, 'guest/prop.yaml'), join(bag, 'prop.yaml'));
  writeFileSync(join(bag, 'owl.yaml'), owlOnHeader());
  putOnCard(bag, [`sinew-${version}.tgz`, 'prop.yaml', 'owl.yaml']);
  lap('the release');
  said = await install(join(bag, `sinew-${version}.tgz`));
  await boot('exact', 'debian');
  lap('a boot, exact');
});
afterAll(async () => {
  pins?.close();
  await machine?.cutPower();
  if (folder && existsSync(folder)) rmSync(folder, { recursive: true });
  console.log(['times of this run:', ...times].join('\n'));
});

it('one command installs a release, on a board with no Node, no npm, no compiler and no network', async () => {
  expect((await machine.try('command -v node npm g++')).said).toBe('');
  expect(said).toMatch(/Sinew \S+ is installed/);
  expect(said).toMatch(/^ {2}linux: ready$/m);
  expect(said).toMatch(/^ {2}pca9685: ready$/m);
  // It is not silent about what it cannot have.
  expect(said).toMatch(/^ {2}pigpio: NOT ready; .*sudo apt install g\+\+ pigpio/m);
  // On a busy machine it may take longer than it may; then it says so.
  const cached = await machine.try('ls /opt/sinew/dist/{daemon,service,worker}.cache');
  if (cached.code !== 0) expect(said).toMatch(/^install\.sh: the code caches could not be made/m);
  expect(await machine.run('/opt/sinew/bin/node -p process.arch+process.version')).toMatch(
    /^arm64v20\./,
  );
  await untilRunning();
  expect(await machine.run('systemctl is-enabled sinewd')).toBe('enabled\n');
});

it("with Debian's own device tree doctor says that the PWM comes out elsewhere", async () => {
  await machine.run('systemctl stop sinewd; cat ~root/prop.yaml >/var/lib/sinew/prop.yaml');
  // GPIO 40 and 41 are switched to the PWM: so says the chip itself.
  expect((await pins.pin(40)).function).toBe('alt0');
  expect((await pins.pin(WING)).function).toBe('input');
  const { code, said } = await machine.try('sinew doctor');
  expect(code).toBe(1);
  expect(said).toMatch(
    /^WRONG {4}board header: PWM pins: .*GPIO 12 \(wing\) and GPIO 13 \(lantern\).*GPIO 4[01] and GPIO 4[01]$/m,
  );
  expect(said).toMatch(/to fix it: put dtoverlay=pwm-2chan,pin=12,func=4,pin2=13,func2=4 into/);
  lap('doctor of the first tree, exact');
});

it('and the daemon does not claim that it moves a servo there', async () => {
  const { code, said } = await machine.try(
    'timeout 60 sinewd --prop /var/lib/sinew/prop.yaml --state-dir /tmp/state 2>&1',
  );
  expect(said).toMatch(/the PWM does not come out at GPIO 12 \(wing\)/);
  expect(code).toBe(1);
  lap('a refused start, exact');
});

it('with the PWM at the header it starts with the board, with every output safe', async () => {
  await machine.powerOff();
  await boot('exact', 'header');
  lap('off, and a boot, exact');
  await untilRunning();
  await machine.run(TRACE);
  lap('until sinewd runs, exact');
  expect(await condition()).toBe('parked');
  await expectHeldSafe();
  const { said } = await machine.try('sinew --json doctor');
  const { findings } = JSON.parse(said) as { findings: { what: string; state: string }[] };
  const of = (state: string) =>
    findings.filter((one) => one.state === state).map(({ what }) => what);
  // No network, so no time server; and no vcgencmd.
  expect(of('wrong')).toEqual(['clock']);
  expect(of('unknown')).toEqual(['voltage']);
  expect(of('fine')).toContain('board header: PWM pins');
  lap('doctor, exact');
});

it('commands come out as levels and pulses', async () => {
  await session('wake --confirm-unknown', ...ALL_ON, 'move wing up');
  await expectAllOn();
  // 30 deg between 1000 us at -45 and 2000 us at 45.
  expect(await highNs(machine, 0)).toBeCloseTo(1000 * (1000 + (1000 * (30 + 45)) / 90), -3);
  lap('a session, exact');
});

it('a capture is saved, and the daemon lives on', async () => {
  const pid = await processId();
  const { code, said } = await machine.try(
    "echo 'mark wing here' | sinew --grace 300 session 2>&1; code=$?; journalctl -b -u sinewd -o cat | tail -5; exit $code",
  );
  expect(code, said).toBe(0);
  expect(await machine.run('grep -c "here: 30" /var/lib/sinew/prop.yaml')).toBe('1\n');
  expect(await processId(), said).toBe(pid);
  expect(await condition()).toBe('live');
  await expectAllOn();
  lap('a capture, exact');
});

it('sinew-safe-levels keeps its hands off while the daemon lives', async () => {
  await allOn();
  const { code, said } = await machine.try('sinew-safe-levels');
  expect(code).toBe(1);
  expect(said).toMatch(/still runs/);
  await expectAllOn();
});

it('a stop button that opens its contact drops everything', async () => {
  await allOn();
  await machine.run('echo button >/sys/kernel/tracing/trace_marker');
  await pins.press(STOP, 1);
  await machine.run('sleep 0.3');
  await pins.press(STOP, 0);
  await expectHeldSafe();
  expect(await condition()).toBe('stopped');
  await machine.run(RESET);
  lap('a stop button, exact');
});

it('a client that falls silent: the prop parks', async () => {
  await allOn();
  await machine.run('sinew park');
  await machine.run(`systemd-run --quiet --unit=desk sh -c '(printf "%s\\n" "wake --confirm-unknown" "switch bell on" "switch mist on"; sleep 1000) | exec sinew session'
until journalctl -u desk -o cat | grep -q mist; do sleep 0.2; done`);
  expect(await condition()).toBe('live');
  expect((await pins.pin(BELL)).level).toBe(1);
  await machine.run(
    'echo silence >/sys/kernel/tracing/trace_marker; systemctl kill -s STOP desk; sleep 1.5',
  );
  const writes = await writesAfter(machine, 'silence');
  const open = await written(BELL, 0);
  const opened = writes.find(({ what }) => what === open);
  expect(opened, JSON.stringify(writes)).toBeDefined();
  note(opened!.ms, 'the last sign of a client to an open relay');
  // timeoutMs of the prop file, and 100 ms.
  expect(opened!.ms).toBeLessThanOrEqual(600);
  await machine.run('until sinew status | grep -q parked; do sleep 0.2; done');
  await expectHeldSafe();
  await machine.try('systemctl kill -s KILL desk; systemctl stop desk');
  lap('a lost link, exact');
});

it('a daemon that is killed: all is safe within 1 s', async () => {
  await allOn();
  await machine.run(`pid=$(systemctl show -P MainPID sinewd)
echo KILL >/sys/kernel/tracing/trace_marker
kill -KILL $pid
sleep 1.5`);
  // Before the next daemon touches anything.
  expect(await machine.run('systemctl show -P SubState sinewd')).toBe('auto-restart\n');
  await expectLetGoSafe();
  const writes = await writesAfter(machine, 'KILL');
  // Whoever let go of the lines, they are driven and pulled to their safe levels at last.
  const whats = writes.map(({ what }) => what);
  expect(whats).toContain(await written(MIST, 1));
  expect(whats).toContain(await written(BELL, 0));
  const pulls = Object.fromEntries(
    writes.flatMap(({ what }) => {
      const pulled = pulledTo(what);
      return pulled ? [pulled] : [];
    }),
  );
  // GPPUD (6.1): 1 pulls down, 2 up.
  expect(pulls).toMatchObject({ [MIST]: '2', [BELL]: '1' });
  const ms = writes.at(-1)!.ms;
  note(ms, 'SIGKILL to the last output');
  times.push(
    ...writes.map(({ ms: at, by, what }) => `${at.toFixed(1).padStart(10)} ms  ${by}: ${what}`),
  );
  expect(ms).toBeLessThanOrEqual(1000);
  await untilRunning();
  await expectHeldSafe();
  // The next daemon holds them, and the pull that counts when it dies is there already.
  const since = (await writesAfter(machine, 'KILL')).slice(writes.length);
  for (const [pin, to] of [
    [MIST, 2],
    [BELL, 1],
  ])
    expect(
      since.filter(({ by, what }) => by !== 'gpioset' && pulledTo(what)?.join() === `${pin},${to}`),
      JSON.stringify(since),
    ).not.toHaveLength(0);
  lap('a death by SIGKILL and the next start, exact');
});

it('after a restart of the board the prop is parked, and the capture is there', async () => {
  pins.close();
  await machine.reboot();
  pins = await Pins.connect(folder);
  lap('a restart, exact');
  await untilRunning();
  expect(await condition()).toBe('parked');
  await expectHeldSafe();
  await session('wake --confirm-unknown', 'move wing here');
  expect(await highNs(machine, 0)).toBeCloseTo(1000 * (1000 + (1000 * (30 + 45)) / 90), -3);
  lap('a move to the captured mark, exact');
});

it('a capture in a long file does not end the daemon either', async () => {
  await machine.run(
    'systemctl stop sinewd; cat ~root/owl.yaml >/var/lib/sinew/prop.yaml; systemctl start sinewd',
  );
  await session('wake --confirm-unknown', 'move flap 30');
  const pid = await processId();
  const said = await machine.try(
    "echo 'mark flap here' | sinew --grace 300 session; journalctl -b -u sinewd | tail -20",
  );
  expect(await processId(), said.said).toBe(pid);
  expect(await machine.run('grep -c "here: 30" /var/lib/sinew/prop.yaml')).toBe('1\n');
  expect(await condition()).toBe('live');
  expect(await highNs(machine, 0)).toBeCloseTo(1000 * (1000 + (1000 * (30 + 45)) / 90), -3);
  lap('a capture in a long file, exact');
});

it('uninstalling leaves the prop parked, and no program', async () => {
  // With the prop that has relays on the header.
  await machine.run(
    'systemctl stop sinewd; cat ~root/prop.yaml >/var/lib/sinew/prop.yaml; systemctl start sinewd',
  );
  await allOn();
  expect(await machine.run('/opt/sinew/install.sh --uninstall')).toMatch(/Sinew is removed\./);
  await expectLetGoSafe();
  const left = await machine.try('ls -d /opt/sinew /usr/local/bin/sinew* /var/lib/sinew/prop.yaml');
  expect(left.said.match(/^\/\S+$/gm)).toEqual(['/var/lib/sinew/prop.yaml']);
  lap('the uninstallation, exact');
});

const LIBRARY_PACKAGES = ['arm64', 'armhf'].flatMap((arch) =>
  ['libstdc++6', 'libatomic1'].map((name) => `${name}-${arch}-cross`),
);
it.each([
  ['arm', 'arm', 'arm-linux-gnueabihf'],
  ['arm64', 'aarch64', 'aarch64-linux-gnu'],
])('the release runs on %s, koffi included', (arch, emulator, libraries) => {
  needTools(
    "Node's C and C++ libraries for ARM",
    ['--no-install-recommends', ...LIBRARY_PACKAGES],
    () =>
      ['libstdc++.so.6', 'libatomic.so.1'].filter(
        (name) => !existsSync(`/usr/${libraries}/lib/${name}`),
      ),
  );
  const unpacked = join(folder, 'release');
  mkdirSync(unpacked, { recursive: true });
  const archive = join(folder, 'bag', `sinew-${version}.tgz`);
  execFileSync('tar', ['xzf', archive, '-C', unpacked]);
  execFileSync('gunzip', ['-f', '-k', `runtime/${arch}/node.gz`], {
    cwd: join(unpacked, `sinew-${version}`),
  });
  const said = execFileSync(
    `qemu-${emulator}-static`,
    [
      ...['-L', `/usr/${libraries}`, `runtime/${arch}/node`, '-e'],
      `require('koffi'); console.log(process.arch, process.versions.node)`,
    ],
    { cwd: join(unpacked, `sinew-${version}`), encoding: 'utf8' },
  );
  expect(said).toMatch(new RegExp(`^${arch} 20\\.`));
});
