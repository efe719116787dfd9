import { execFileSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { constants, tmpdir } from 'node:os';
import { join } from 'node:path';
import koffi from 'koffi';
import { afterAll, beforeAll, beforeEach, describe, expect, test } from 'vitest';
import type { Frame, InputSpec, OutputSpec } from '../../../src/boards/board.ts';
import { LinuxDriver } from '../../../src/boards/linux/driver.ts';
import type { LinuxBoard } from '../../../src/boards/linux/facts.ts';
import { GPIO_IOCTL, loadIoctl } from '../../../src/boards/linux/gpio.ts';
import { LinuxPins, type LinuxSurroundings } from '../../../src/boards/linux/pins.ts';
import { sysFiles } from '../../../src/boards/linux/pwm.ts';
import { createDriver } from '../../../src/boards/registry.ts';
import { schemas } from '../../../src/prop/schema.ts';
import { Refusal } from '../../../src/shared/errors.ts';
import { makeProp, type Recorder, Rig, relay, restedAt, servo } from '../../core/rig.ts';
import { duty, level, pulse } from '../outputs.ts';
import { PwmSysfs } from './pwm-model.ts';

const board = (over: Record<string, unknown> = {}) =>
  schemas().board.parse({ driver: 'linux', chip: 'gpiochip0', pwmChip: 0, ...over }) as LinuxBoard;

const input = (pin: number, pull: InputSpec['pull']): InputSpec => ({
  name: `input${pin}`,
  pin,
  pull,
});

/** A GPIO chip of the C compiler's and the kernel header's making: tests/native/gpio-chip.c. */
interface ChipStandIn {
  library: string;
  reset: () => void;
  busy: (line: number, consumer: string) => void;
  level: (line: number, value: number) => void;
  levelOf: (line: number) => number;
  fail: (errno: number) => void;
  refusePulls: (errno: number) => void;
  claims: () => number;
  journal: () => string;
  layout: () => string;
}

let folder: string;
let chip: ChipStandIn;

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'sinew-linux-'));
  writeFileSync(join(folder, 'gpiochip0'), '');
  const library = join(folder, 'gpio-chip.so');
  const source = join(import.meta.dirname, '../../native/gpio-chip.c');
  execFileSync('gcc', ['-Wall', '-Werror', '-shared', '-fPIC', '-o', library, source]);
  const c = koffi.load(library);
  chip = {
    library,
    reset: c.func('void stand_in_reset()'),
    busy: c.func('void stand_in_busy(int line, const char *consumer)'),
    level: c.func('void stand_in_level(int line, int value)'),
    levelOf: c.func('int stand_in_level_of(int line)'),
    fail: c.func('void stand_in_fail(int error)'),
    refusePulls: c.func('void stand_in_refuse_pulls(int error)'),
    claims: c.func('int stand_in_claims()'),
    journal: c.func('const char *stand_in_journal()'),
    layout: c.func('const char *stand_in_layout()'),
  };
});
beforeEach(() => chip.reset());
afterAll(() => rmSync(folder, { recursive: true }));

function make(
  sysfs: PwmSysfs | undefined = new PwmSysfs(2),
  over: Record<string, unknown> = {},
  around: Partial<LinuxSurroundings> = {},
): LinuxPins {
  return new LinuxPins(board(over), {
    devices: folder,
    files: sysfs,
    wait: async () => {},
    ioctl: () => loadIoctl(chip.library),
    ...around,
  });
}

function write(driver: LinuxPins, ...pairs: [output: number, value: number][]): void {
  const frame: Frame = {
    count: pairs.length,
    output: Uint16Array.from(pairs, ([output]) => output),
    value: Float64Array.from(pairs, ([, value]) => value),
  };
  driver.write(frame);
}

describe('GPIO lines', () => {
  test('request numbers and layout are those of linux/gpio.h, as gcc sees it', () => {
    const words = chip.layout().split(' ');
    const seen = new Map<string, number>();
    for (let i = 0; i < words.length; i += 2) seen.set(words[i]!, Number(words[i + 1]));
    for (const [name, number] of Object.entries(GPIO_IOCTL)) expect(seen.get(name)).toBe(number);
    expect(Object.keys(GPIO_IOCTL)).toHaveLength(5);
  });

  test('all relays are claimed at once, each with its safe level and pulled there', async () => {
    await make().open([level(23), level(24, 1), level(25, 1)], []);
    expect(chip.journal()).toBe('claim by sinew: 23=0, down 24=1, up 25=1, up\n');
    await make().open([level(5, 1)], []);
    expect(chip.journal()).toBe('claim by sinew: 5=1, up\n');
  });

  // What a pin controller answers that knows no pulls, or none for outputs.
  test.each(['ENOTSUP', 'EINVAL', 'EPERM'] as const)(
    'a chip that refuses pulls with %s: the relays are claimed without',
    async (code) => {
      chip.refusePulls(constants.errno[code]);
      const driver = make();
      await driver.open([level(23), level(24, 1)], []);
      expect(chip.journal()).toBe('claim by sinew: 23=0, as is 24=1, as is\n');
      expect(chip.claims()).toBe(1);
      write(driver, [0, 1]);
      expect(chip.levelOf(23)).toBe(1);
    },
  );

  test('one call for all relays of a frame, and only for those', async () => {
    const driver = make();
    await driver.open([level(23), level(24, 1), level(25)], []);
    chip.journal();
    write(driver, [0, 1], [1, 0]);
    expect(chip.journal()).toBe('set 23=1 24=0\n');
    write(driver, [2, 1]);
    expect(chip.journal()).toBe('set 25=1\n');
    expect([23, 24, 25].map(chip.levelOf)).toEqual([1, 0, 1]);
  });

  test('more lines than a byte holds keep their places', async () => {
    const pins = Array.from({ length: 24 }, (_, i) => i + 2);
    const driver = make();
    await driver.open(
      pins.map((pin) => level(pin)),
      [],
    );
    for (const [output, pin] of pins.entries()) {
      write(driver, [output, 1]);
      expect(pins.filter((other) => chip.levelOf(other) === 1)).toEqual([pin]);
      write(driver, [output, 0]);
    }
  });

  test('inputs have the pull that was asked for, and are read as they are at that moment', async () => {
    const driver = make();
    await driver.open([], [input(4, 'up'), input(5, 'down'), input(6, 'off'), input(7, 'up')]);
    expect(chip.journal()).toBe('claim by sinew: 4<up 5<down 6<off 7<up\n');
    for (const [at, line] of [4, 5, 6, 7].entries()) {
      expect(driver.read(at)).toBe(0);
      chip.level(line, 1);
      expect([0, 1, 2, 3].filter((i) => driver.read(i) === 1)).toEqual([at]);
      chip.level(line, 0);
    }
  });

  test('close makes the relays safe and gives all lines back; it may come twice', async () => {
    const driver = make();
    await driver.open([level(23), level(24, 1)], [input(4, 'up')]);
    write(driver, [0, 1], [1, 0]);
    expect(chip.claims()).toBe(2);
    chip.journal();
    await driver.close();
    expect(chip.journal()).toBe('set 23=0 24=1\n');
    expect(chip.claims()).toBe(0);
    await driver.close();
    expect(chip.journal()).toBe('');
    expect(() => write(driver, [0, 1])).toThrow('not open');
    expect(() => driver.read(0)).toThrow('not open');
  });

  test('opened again while open, nothing stays claimed twice', async () => {
    const driver = make();
    await driver.open([level(23)], []);
    write(driver, [0, 1]);
    await driver.open([level(23)], []);
    expect([chip.claims(), chip.levelOf(23)]).toEqual([1, 0]);
  });

  test('a call that fails is thrown at once', async () => {
    const driver = make();
    await driver.open([level(23)], [input(4, 'up')]);
    chip.fail(constants.errno.ENODEV);
    expect(() => write(driver, [0, 1])).toThrow('ENODEV');
    expect(() => driver.read(0)).toThrow('ENODEV');
    await expect(driver.close()).rejects.toThrow('ENODEV');
    expect(chip.claims()).toBe(0);
  });

  test('a line that somebody else holds is refused with his name, and nothing stays claimed', async () => {
    chip.busy(4, 'spi0 CS0');
    const opened = make().open([level(23)], [input(4, 'up')]);
    await expect(opened).rejects.toThrow(Refusal);
    await expect(opened).rejects.toThrow('GPIO 4 (input4) is used by spi0 CS0: end that program');
    expect(chip.claims()).toBe(0);
  });

  test('a line that the chip does not have is refused, with the name of the chip', async () => {
    await expect(make().open([level(54)], [])).rejects.toThrow(
      'relay54: ' +
        `${folder}/gpiochip0 (pinctrl-stand-in) has no line 54, only 0 to 53; is it the chip of the header?`,
    );
  });

  test('an old kernel is told', async () => {
    chip.fail(constants.errno.ENOTTY);
    await expect(make().open([level(23)], [])).rejects.toThrow('is not a GPIO chip: ENOTTY');
  });

  test('a missing chip is told, with how to find it', async () => {
    const driver = make(undefined, { chip: 'gpiochip9' });
    await expect(driver.open([level(23)], [])).rejects.toThrow(
      'gpiochip9; gpiodetect lists the GPIO chips of this board',
    );
  });

  test('the C library of this machine is found: a plain file is not a GPIO chip', async () => {
    const driver = make(undefined, {}, { ioctl: loadIoctl });
    await expect(driver.open([level(23)], [])).rejects.toThrow('is not a GPIO chip: ENOTTY');
  });
});

describe('hardware PWM', () => {
  test('a new channel: exported, then period, then duty, then on', async () => {
    const sysfs = new PwmSysfs(2);
    await make(sysfs).open([pulse(18), duty(13)], []);
    expect(sysfs.writes).toEqual([
      'export 0',
      'pwm0/period 20000000',
      'pwm0/duty_cycle 0',
      'pwm0/enable 1',
      'export 1',
      'pwm1/period 800000',
      'pwm1/duty_cycle 0',
      'pwm1/enable 1',
    ]);
  });

  test('pulses are in us, duties are shares of the period; each write is one value', async () => {
    const sysfs = new PwmSysfs(2);
    const driver = make(sysfs);
    await driver.open([pulse(18), duty(13)], []);
    sysfs.writes.length = 0;
    write(driver, [0, 1500], [1, 0.25]);
    write(driver, [0, 0], [1, 1]);
    write(driver, [0, 0], [1, 1]);
    expect(sysfs.writes).toEqual([
      'pwm0/duty_cycle 1500000',
      'pwm1/duty_cycle 200000',
      'pwm0/duty_cycle 0',
      'pwm1/duty_cycle 800000',
    ]);
  });

  test.each(['normal', 'inversed'] as const)(
    'a channel that somebody left running with another period, %s, is taken over',
    async (polarity) => {
      const sysfs = new PwmSysfs(2);
      sysfs.channels.set(0, { period: 30_000_000, duty: 25_000_000, enabled: true, polarity });
      const driver = make(sysfs);
      await driver.open([pulse(18)], []);
      expect(sysfs.channels.get(0)).toEqual({
        period: 20_000_000,
        duty: 0,
        enabled: true,
        polarity: 'normal',
      });
    },
  );

  test('a lamp that must stay high to be dark does not flash when the daemon starts again', async () => {
    const sysfs = new PwmSysfs(2);
    const first = make(sysfs);
    await first.open([duty(13, 1)], []);
    write(first, [0, 0.5]);
    sysfs.writes.length = 0;
    await first.close();
    expect(sysfs.highNs(1)).toBe(800_000);
    await make(sysfs).open([duty(13, 1)], []);
    expect(sysfs.writes).toEqual(['pwm1/duty_cycle 800000', 'pwm1/duty_cycle 800000']);
  });

  test('close stops the pulses, switches the channel off and gives it back', async () => {
    const sysfs = new PwmSysfs(2);
    const driver = make(sysfs);
    await driver.open([pulse(18)], []);
    write(driver, [0, 1500]);
    sysfs.writes.length = 0;
    await driver.close();
    expect(sysfs.writes).toEqual(['pwm0/duty_cycle 0', 'pwm0/enable 0', 'unexport 0']);
    expect(sysfs.opened.size).toBe(0);
    expect(sysfs.channels.size).toBe(0);
  });

  test('the four channels of the newest generation, and a map of the prop file', async () => {
    const four = new PwmSysfs(4);
    const driver = make(four);
    await driver.open([pulse(12), pulse(13), pulse(18), pulse(19)], []);
    write(driver, [0, 1000], [1, 1100], [2, 1200], [3, 1300]);
    expect([0, 1, 2, 3].map((channel) => four.highNs(channel) / 1000)).toEqual([
      1000, 1100, 1200, 1300,
    ]);
    const mapped = new PwmSysfs(2);
    const other = make(mapped, { pwmPins: { 21: 1 } });
    await other.open([pulse(21)], []);
    write(other, [0, 1500]);
    expect(mapped.highNs(1)).toBe(1_500_000);
  });

  test('files that udev has not handed over yet are waited for, for two seconds', async () => {
    const sysfs = new PwmSysfs(2);
    let waitedMs = 0;
    const wait = async (ms: number) => {
      waitedMs += ms;
    };
    sysfs.rootFor = 5;
    await make(sysfs, {}, { wait }).open([pulse(18)], []);
    expect(waitedMs).toBe(100);
    sysfs.rootFor = 1e6;
    waitedMs = 0;
    await expect(make(sysfs, {}, { wait }).open([pulse(18)], [])).rejects.toThrow(
      'pwm0 cannot be written to (EACCES): add this user to the group gpio',
    );
    expect(waitedMs).toBe(2000);
  });

  test('a pulse longer than the period is an error', async () => {
    const driver = make();
    await driver.open([pulse(18)], []);
    expect(() => write(driver, [0, 20_001])).toThrow('servo18: a pulse of 20001 us does not fit');
  });

  describe('refused, with the remedy, and with nothing claimed', () => {
    const cases: Record<
      string,
      [outputs: OutputSpec[], sysfs: PwmSysfs, over: Record<string, unknown>, text: string]
    > = {
      'no overlay': [
        [pulse(18)],
        new PwmSysfs(2, '/sys/class/pwm', 3),
        {},
        'there is no /sys/class/pwm/pwmchip0: switch the hardware PWM on (dtoverlay=pwm-2chan in config.txt, then restart the board); pwmChip may also be pwmchip3',
      ],
      'a servo on a pin without PWM': [
        [pulse(17), level(23)],
        new PwmSysfs(2),
        {},
        'no hardware PWM at GPIO 17 (servo17): use GPIO 12, GPIO 13, GPIO 18, GPIO 19, or put it on a pca9685 board',
      ],
      'an rgb light': [
        [duty(5), duty(6), duty(13)],
        new PwmSysfs(2),
        {},
        'no hardware PWM at GPIO 5 (lamp5), GPIO 6 (lamp6): use',
      ],
      'two pins of one channel': [
        [pulse(12), pulse(18)],
        new PwmSysfs(2),
        {},
        'GPIO 12 (servo12) and GPIO 18 (servo18) are one PWM channel and would do the same',
      ],
      'an unknown chip': [
        [pulse(18)],
        new PwmSysfs(7),
        {},
        '/sys/class/pwm/pwmchip0 has 7 channels, and nobody knows which pins they are on; give pwmPins',
      ],
      'a map to a channel that is not there': [
        [pulse(18)],
        new PwmSysfs(2),
        { pwmPins: { 18: 2 } },
        'pwmPins 18: /sys/class/pwm/pwmchip0 has no channel 2, only 0 to 1',
      ],
    };
    test.each(Object.keys(cases))('%s', async (name) => {
      const [outputs, sysfs, over, text] = cases[name]!;
      const opened = make(sysfs, over).open(outputs, []);
      await expect(opened).rejects.toThrow(Refusal);
      await expect(opened).rejects.toThrow(text);
      expect([chip.claims(), sysfs.opened.size, sysfs.writes]).toEqual([0, 0, []]);
    });

    test('a channel that the kernel uses; what was claimed before is safe and given back', async () => {
      const sysfs = new PwmSysfs(2);
      sysfs.taken.add(1);
      await expect(make(sysfs).open([level(23), pulse(18), pulse(19)], [])).rejects.toThrow(
        'channel 1 of /sys/class/pwm/pwmchip0/export is used by a kernel driver',
      );
      expect([chip.claims(), sysfs.opened.size, sysfs.channels.size]).toEqual([0, 0, 0]);
    });
  });

  test('works on files of a real folder', async () => {
    const pwmFolder = join(folder, 'pwm');
    const channel = join(pwmFolder, 'pwmchip0', 'pwm0');
    const files = { npwm: '2', export: '', unexport: '' };
    const channelFiles = { period: '0', duty_cycle: '0', enable: '0', polarity: 'normal' };
    mkdirSync(join(pwmFolder, 'pwmchip0'), { recursive: true });
    for (const [name, text] of Object.entries(files))
      writeFileSync(join(pwmFolder, 'pwmchip0', name), `${text}\n`);
    // The kernel makes the channel when `export` is written; here, while the driver waits for it.
    const wait = async () => {
      expect(readFileSync(join(pwmFolder, 'pwmchip0', 'export'), 'utf8')).toBe('0\n');
      mkdirSync(channel);
      for (const [name, text] of Object.entries(channelFiles))
        writeFileSync(join(channel, name), `${text}\n`);
    };
    const driver = make(undefined, {}, { files: sysFiles, pwmFolder, wait });
    await driver.open([pulse(18)], []);
    const read = (name: string) => readFileSync(join(channel, name), 'utf8').split('\n')[0];
    expect(['period', 'duty_cycle', 'enable'].map(read)).toEqual(['20000000', '0', '1']);
    write(driver, [0, 1500]);
    expect(read('duty_cycle')).toBe('1500000');
    await driver.close();
    expect(['duty_cycle', 'enable'].map(read)).toEqual(['0', '0']);
    expect(sysFiles.read(join(pwmFolder, 'pwmchip0', 'unexport'))).toBe('0');
    expect(sysFiles.list(pwmFolder)).toEqual(['pwmchip0']);
  });
});

test('createDriver makes one for the board of a prop file', async () => {
  expect(await createDriver(board())).toBeInstanceOf(LinuxDriver);
});

describe('under the core', () => {
  const prop = (over: Record<string, unknown> = {}) =>
    makeProp(
      {
        head: servo({ board: 'pi', output: { pin: 18 } }),
        horn: relay({ board: 'pi', output: { pin: 23, activeLow: true } }),
        tail: servo({ board: 'lower' }),
        mist: relay({ board: 'lower' }),
      },
      {
        boards: { pi: board(), lower: { driver: 'sim' } },
        ...over,
      },
    );

  async function busy(over: Record<string, unknown> = {}) {
    const sysfs = new PwmSysfs(2);
    const own = prop(over);
    const { rig, client } = await Rig.live(own, {
      restored: restedAt(own),
      // Pins in this thread, whose time is the rig's; linux-threads.test.ts has the real ones.
      drivers: {
        pi: new LinuxDriver(own.boards.pi as LinuxBoard, () =>
          Object.assign(make(sysfs), { check() {} }),
        ),
      },
    });
    for (const channel of ['horn', 'mist'])
      await client.call('channel.switch', { channel, on: true });
    for (const channel of ['head', 'tail'])
      await client.call('channel.move', { channel, to: 30, overS: 1 });
    await rig.run(1500);
    return { rig, sysfs, lower: rig.boards.get('lower') as Recorder };
  }

  test('moves the servo and closes the relay', async () => {
    const { sysfs } = await busy();
    // 1500 us + 30 deg × 10 us/deg
    expect([sysfs.highNs(0), chip.levelOf(23)]).toEqual([1_800_000, 0]);
  });

  test('a wire of the stop button breaks: stopped in that tick, relays open', async () => {
    const { rig } = await busy({ stopInput: { board: 'pi', pin: 4 } });
    chip.level(4, 1);
    await rig.tick();
    expect([rig.condition, chip.levelOf(23)]).toEqual(['stopped', 1]);
  });

  test('PWM that fails: faulted, its relay opens all the same, and the other board parks', async () => {
    const { rig, sysfs, lower } = await busy();
    sysfs.broken = true;
    rig.core.park('desk');
    await rig.run(4000);
    expect(rig.condition).toBe('faulted');
    expect(rig.texts('fault')).toContain('board pi: EIO from the kernel');
    expect([lower.value.get('mist'), lower.value.get('tail')]).toEqual([0, 1500]);
    expect(chip.levelOf(23)).toBe(1);
  });

  test('a relay line that fails: the pulses of its board stop, and the other board parks', async () => {
    const { rig, sysfs, lower } = await busy();
    chip.fail(constants.errno.ENODEV);
    rig.core.park('desk');
    await rig.run(4000);
    expect(rig.condition).toBe('faulted');
    expect([sysfs.highNs(0), lower.value.get('tail')]).toEqual([0, 1500]);
  });
});
