import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { pwmFrequencyHz } from '../../src/boards/pigpio/facts.ts';
import { parseProp } from '../../src/prop/load.ts';
import { expectFindings, OWL, propText, relay, servo } from './helpers.ts';

// Rules without a source are common practice. The mark » stands before the place of the finding.

const RGB = (pins: string, more = '') =>
  `{ kind: rgb, output: { board: head, pins: ${pins} }${more} }`;
const LAMP = (pin: number | string, more = '') =>
  `{ kind: lamp, output: { board: head, pin: ${pin} }${more} }`;

test('the demo prop and the base of these tests have no findings', () => {
  expect(parseProp(OWL, 'owl.yaml').findings).toEqual([]);
  expectFindings(propText(`a: ${servo(4)}\n  b: ${relay(7)}\n  c: ${relay(9)}`), []);
});

describe('pins', () => {
  test('two channels on one pin', () => {
    expectFindings(propText(`a: ${servo(18)}\n  b: ${servo('»18')}`), [
      { path: 'channels.b.output.pin', wrong: 'pin 18 is taken by a', right: 'own pin' },
    ]);
  });

  test('a colour of an rgb channel on a taken pin, and twice within one channel', () => {
    expectFindings(propText(`a: ${servo(5)}\n  b: ${RGB('[»5, 6, »6]')}`), [
      { path: 'channels.b.output.pins[0]', wrong: 'taken by a' },
      { path: 'channels.b.output.pins[2]', wrong: 'taken by b.green' },
    ]);
  });

  test('the stop input shares a pin', () => {
    expectFindings(propText(`a: ${servo('»4')}`, 'stopInput: { board: head, pin: 4 }'), [
      { wrong: 'taken by stopInput' },
    ]);
  });

  test('two boards that drive the same header share its pins', () => {
    const boards = 'head: { driver: pigpio }\n  lx: { driver: linux, chip: gpiochip0, pwmChip: 0 }';
    const other = servo(0, { output: '{ board: lx, pin: »18 }' });
    expectFindings(propText(`a: ${servo(18)}\n  b: ${other}`, '', boards), [
      { wrong: 'taken by a' },
    ]);
  });

  test('the same pin number on two chips is fine', () => {
    const chip = '{ driver: pca9685, bus: 1, address: 0x40 }';
    const boards = `head: ${chip}\n  tail: ${chip.replace('40', '41')}`;
    const other = servo(0, { output: '{ board: tail, pin: 5 }' });
    expectFindings(propText(`a: ${servo(5)}\n  b: ${other}`, '', boards), []);
  });

  test('two boards at one address', () => {
    const chip = (mark: string) => `{ driver: pca9685, bus: 1, address: ${mark}0x40 }`;
    expectFindings(propText(`a: ${servo(5)}`, '', `head: ${chip('')}\n  tail: ${chip('»')}`), [
      { path: 'boards.tail.address', wrong: 'address 0x40 on bus 1 is board head already' },
    ]);
  });

  test('a stop button that holds, or rests open', () => {
    const stop = (rest: string) =>
      propText(`a: ${servo(4)}`, `stopInput: { board: head, pin: 5, ${rest} }`);
    expectFindings(stop('category: »2'), [
      {
        severity: 'warning',
        path: 'stopInput.category',
        wrong: 'keeps the servos under power',
        right: 'category 1',
      },
    ]);
    expectFindings(stop('normallyClosed: »false'), [
      {
        severity: 'warning',
        path: 'stopInput.normallyClosed',
        wrong: 'wire is broken',
        right: 'rests closed',
      },
    ]);
    expectFindings(stop('category: 1'), []);
  });

  test('an unknown board', () => {
    expectFindings(propText(`a: ${servo(4, { output: '{ board: »haed, pin: 4 }' })}`), [
      { path: 'channels.a.output.board', wrong: 'no board haed', right: 'did you mean head' },
    ]);
    expectFindings(propText(`a: ${servo(4)}`, 'stopInput: { board: »neck, pin: 5 }'), [
      { path: 'stopInput.board', wrong: 'no board neck', right: 'use one of head' },
    ]);
  });

  test.each(['sim', 'pigpio', 'linux, chip: gpiochip0, pwmChip: 0, pwmPins: { 27: 0 }'])(
    'a pin that the header of %s does not have',
    (driver) => {
      expectFindings(propText(`a: ${servo('»28')}`, '', `head: { driver: ${driver} }`), [
        { wrong: 'no GPIO 28', right: '0 to 27' },
      ]);
      expectFindings(propText(`a: ${servo(27)}`, '', `head: { driver: ${driver} }`), []);
    },
  );

  describe('hardware PWM', () => {
    const lx = (more = '') => `head: { driver: linux, chip: gpiochip0, pwmChip: 0${more} }`;

    test('a servo, a lamp and a colour of a linux board on pins that have none', () => {
      const right = /use GPIO 12, GPIO 13, GPIO 18, GPIO 19, or put it on a pca9685/;
      expectFindings(
        propText(`a: ${servo('»5')}\n  b: ${LAMP('»6')}\n  c: ${RGB('[12, 13, »20]')}`, '', lx()),
        [
          { path: 'channels.a.output.pin', wrong: 'GPIO 5 has no hardware PWM', right },
          { path: 'channels.b.output.pin', wrong: 'GPIO 6 has no hardware PWM', right },
          { path: 'channels.c.output.pins[2]', wrong: 'GPIO 20 has no hardware PWM', right },
        ],
      );
    });

    test('relays and inputs need none, and pwmPins says where it is', () => {
      const stop = 'stopInput: { board: head, pin: 4 }';
      expectFindings(propText(`a: ${servo(18)}\n  b: ${relay(9)}`, stop, lx()), []);
      const moved = lx(', pwmPins: { 5: 0 }');
      expectFindings(propText(`a: ${servo(5)}\n  b: ${servo('»18')}`, '', moved), [
        { wrong: 'GPIO 18 has no', right: 'use GPIO 5, or' },
      ]);
    });

    test('other drivers make it on every pin', () => {
      expectFindings(
        propText(`a: ${servo(5)}\n  b: ${LAMP(6)}`, '', 'head: { driver: pigpio }'),
        [],
      );
    });
  });

  // gpioServo takes 500 to 2500 us: pigpio C interface, from memory.
  test('pulses that pigpio cannot send', () => {
    const wide = (us: string) =>
      servo(5, {
        calibration: '[[400, -45], [2600, 45]]',
        envelopeUs: us,
        limitsDeg: '[-30, 30]',
      });
    const pigpio = 'head: { driver: pigpio }';
    expectFindings(propText(`a: ${wide('[500, 2500]')}`, '', pigpio), []);
    expectFindings(propText(`a: ${wide('»[499, 2500]')}`, '', pigpio), [
      { path: 'channels.a.envelopeUs', wrong: 'a pulse of 499 us', right: 'within 500 and 2500' },
    ]);
    expectFindings(propText(`a: ${wide('»[500, 2501]')}`, '', pigpio), [
      { path: 'channels.a.envelopeUs', wrong: 'a pulse of 2501 us' },
    ]);
    const calibrated = servo(5, { calibration: '»»[[400, -45], [2600, 45]]' });
    expectFindings(propText(`a: ${calibrated}`, '', pigpio), [
      { path: 'channels.a.calibration', wrong: 'a pulse of 400 us' },
      { path: 'channels.a.calibration', wrong: 'a pulse of 2600 us' },
    ]);
    expectFindings(propText(`a: ${wide('[499, 2501]')}`), []);
  });

  test('light that flickers at the frequency of its chip, unless a reason is given', () => {
    const chip = (hz: number) =>
      `head: { driver: pca9685, bus: 1, address: 0x40, frequencyHz: ${hz} }`;
    const lit = (board: string, more = '') =>
      `a: { kind: lamp, output: { board: ${board}, pin: 0 }${more} }\n  b: { kind: rgb, output: { board: ${board}, pins: [1, 2, 3] }${more} }`;
    expectFindings(propText(lit('»head'), '', chip(99)), [
      { path: 'channels.a.output.board', wrong: 'at the 98.4 Hz', right: '1000' },
      { path: 'channels.b.output.board', wrong: 'flickers', right: 'flicker: \\{ accepted' },
    ]);
    expectFindings(propText(lit('head'), '', chip(100)), []);
    const reason = "reason: 'a test lamp inside the closed case'";
    expectFindings(
      propText(lit('head', `, flicker: { accepted: true, ${reason} }`), '', chip(50)),
      [],
    );
    expectFindings(
      propText(lit('head', `, flicker: »{ accepted: true, ${reason} }`), '', chip(100)),
      [
        { severity: 'warning', path: 'channels.a.flicker', wrong: 'no flicker' },
        { severity: 'warning', path: 'channels.b.flicker', wrong: 'no flicker' },
      ],
    );
    // Servos want the 50 Hz that a chip has without being told.
    const plain = 'head: { driver: pca9685, bus: 1, address: 0x40 }';
    expectFindings(propText('a: { kind: lamp, output: { board: »head, pin: 0 } }', '', plain), [
      { wrong: 'at the 50 Hz' },
    ]);
  });

  test('PWM of the header is fast enough for light on every driver', () => {
    const lit = 'a: { kind: lamp, output: { board: head, pin: 18 } }';
    for (const sampleUs of [1, 2, 4, 5, 8, 10]) {
      expectFindings(propText(lit, '', `head: { driver: pigpio, sampleUs: ${sampleUs} }`), []);
      expect(pwmFrequencyHz(sampleUs)).toBeGreaterThanOrEqual(100);
    }
    expectFindings(propText(lit, '', 'head: { driver: linux, chip: gpiochip0, pwmChip: 0 }'), []);
  });

  test('lights that are not weighed in one way', () => {
    const lights = (a: string, b: string) =>
      `a: { kind: lamp, output: { board: head, pin: 17 }${a} }\n  b: ${relay(22, { light: b })}`;
    const share = (value: number, mark = '') => `{ share: ${mark}${value} }`;
    expectFindings(propText(lights(`, light: ${share(0.3)}`, 'true')), []);
    expectFindings(propText(lights(`, light: ${share(0.3)}`, share(0.7))), []);
    expectFindings(propText(lights(', light: { lumens: 400 }', '{ lumens: 90 }')), []);
    expectFindings(propText(lights(`, light: ${share(0.6, '»')}`, share(0.7))), [
      { path: 'channels.a.light.share', wrong: 'add up to 1.3' },
    ]);
    expectFindings(propText(lights(`, light: ${share(1, '»')}`, 'true')), [
      { wrong: 'leaves nothing for the light' },
    ]);
    expectFindings(propText(lights(', light: { lumens: 400 }', share(0.7, '»'))), [
      { path: 'channels.b.light.share', wrong: 'by its lumens' },
    ]);
    expectFindings(propText(lights('', '»{ share: 0.3, lumens: 20 }')), [
      { wrong: 'needs one of share and lumens', right: 'exactly one' },
    ]);
    expectFindings(
      propText(
        `b: ${relay(22, { flash: "»{ unrestricted: true, reason: 'nobody will see it' }" })}`,
      ),
      [{ path: 'channels.b.flash', wrong: 'not a light' }],
    );
  });

  test('an output that the chip does not have', () => {
    const boards = 'head: { driver: pca9685, bus: 1, address: 0x40 }';
    expectFindings(propText(`a: ${servo('»16')}`, '', boards), [
      { wrong: 'no output 16', right: '0 to 15' },
    ]);
    expectFindings(propText(`a: ${servo(15)}`, '', boards), []);
  });

  test('a stop button on a chip without inputs', () => {
    const boards = 'head: { driver: pca9685, bus: 1, address: 0x40 }';
    expectFindings(propText(`a: ${servo(4)}`, 'stopInput: { board: »head, pin: 5 }', boards), [
      { wrong: 'no inputs', right: 'header' },
    ]);
  });

  test('a chip too fast for servo pulses', () => {
    const boards = (hz: number) =>
      `head: { driver: pca9685, bus: 1, address: 0x40, frequencyHz: ${hz} }`;
    expectFindings(propText(`a: ${servo('»4')}`, '', boards(500)), [
      { wrong: '2000 us does not fit in a period at 500 Hz', right: 'frequencyHz' },
    ]);
    // 25 MHz / 4096 / 12 is 508.6 Hz and / 13 is 469.5 Hz: the chip makes nothing between.
    expectFindings(propText(`a: ${servo('»4')}`, '', boards(489)), [
      { wrong: /does not fit in a period at 489 Hz.* 508\.6 Hz/, right: 'frequencyHz' },
    ]);
    expectFindings(propText(`a: ${servo(4)}`, '', boards(488)), []);
  });

  // GPIO 0 and 1 are kept for the EEPROM that describes an add-on board.
  test.each([0, 1])('GPIO %i of the ID EEPROM', (pin) => {
    expectFindings(propText(`a: ${servo(`»${pin}`)}`), [{ wrong: 'ID EEPROM' }]);
  });

  test.each([2, 3])('GPIO %i of the I2C bus', (pin) => {
    expectFindings(propText(`a: ${servo(`»${pin}`)}`), [{ severity: 'warning', wrong: 'I2C' }]);
    const boards = 'head: { driver: pigpio }\n  chip: { driver: pca9685, bus: 1, address: 0x40 }';
    expectFindings(propText(`a: ${servo(`»${pin}`)}`, '', boards), [
      { wrong: 'I2C bus of board chip' },
    ]);
  });

  test.each([14, 15])('GPIO %i of the serial console', (pin) => {
    expectFindings(propText(`a: ${servo(`»${pin}`)}`), [{ severity: 'warning', wrong: 'serial' }]);
  });
});

describe('relays', () => {
  // BCM2835 ARM Peripherals, table 6-31: GPIO 0-8 pulled high, 9-27 low (from memory).
  const free = [4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 16, 17, 18, 19, 20, 21, 22, 23, 24, 25, 26, 27];
  test.each(free)('GPIO %i: released level against the pull at power-on', (pin) => {
    const output = (mark: string, activeLow: boolean) =>
      relay(pin, { output: `{ board: head, pin: ${mark}${pin}, activeLow: ${activeLow} }` });
    const pulledUp = pin <= 8;
    // Active-low is released by a high level.
    expectFindings(propText(`a: ${output('', pulledUp)}`), []);
    expectFindings(propText(`a: ${output('»', !pulledUp)}`), [
      {
        severity: 'warning',
        path: 'channels.a.output.pin',
        wrong: `pulled ${pulledUp ? 'up' : 'down'} .* may close until the daemon runs`,
        right: pulledUp ? /GPIO 9-27.*pull-down/ : /GPIO 0-8.*pull-up/,
      },
    ]);
  });

  test('a relay on a chip', () => {
    const boards = 'head: { driver: pca9685, bus: 1, address: 0x40 }';
    const output = (activeLow: boolean) => ({
      output: `{ board: head, pin: »4, activeLow: ${activeLow} }`,
    });
    // PCA9685 datasheet, section 7.3.3: outputs are off after power-on (from memory).
    expectFindings(propText(`a: ${relay(4, output(true))}`, '', boards), [
      { severity: 'warning', wrong: 'low from power-on', right: 'pin of the header' },
    ]);
    expectFindings(propText(`a: ${relay(4, output(false))}`, '', boards), [
      { severity: 'warning', wrong: 'keeps its outputs', right: 'pin of the header' },
    ]);
  });

  test('contact and pulseMs belong together', () => {
    expectFindings(propText(`a: ${relay(7, { contact: '»momentary' })}`), [
      { wrong: 'needs its length', right: 'pulseMs' },
    ]);
    expectFindings(propText(`a: ${relay(7, { pulseMs: '»50' })}`), [
      { wrong: 'no pulse', right: 'momentary' },
    ]);
    expectFindings(propText(`a: ${relay(7, { contact: 'momentary', pulseMs: '50' })}`), []);
  });

  test('what cannot park closed', () => {
    const momentary = { contact: 'momentary', pulseMs: '50', park: '{ to: »on }' };
    expectFindings(propText(`a: ${relay(7, momentary)}`), [{ wrong: 'momentary' }]);
    const guarded = { duty: '{ maxOnS: 5, restS: 5 }', park: '{ to: »on }' };
    expectFindings(propText(`a: ${relay(7, guarded)}`), [{ wrong: 'duty guard' }]);
    expectFindings(propText(`a: ${relay(7, { park: '{ to: »on }' })}`), [
      { severity: 'warning', wrong: 'a stop opens it' },
    ]);
  });

  test('a pulse longer than the duty guard allows', () => {
    const more = (ms: string) => ({
      contact: 'momentary',
      pulseMs: ms,
      duty: '{ maxOnS: 1, restS: 5 }',
    });
    expectFindings(propText(`a: ${relay(7, more('»1001'))}`), [
      { wrong: '1001 ms', right: '1000' },
    ]);
    expectFindings(propText(`a: ${relay(7, more('1000'))}`), []);
  });
});

describe('the output-enable pin of a pca9685', () => {
  const relayOn = (pin: number, activeLow: boolean) =>
    `a: { kind: relay, output: { board: chip, pin: »${pin}, activeLow: ${activeLow} } }`;
  const FAN = 'a: { kind: relay, output: { board: head, pin: 20 } }';
  const boards = (enable: string, host = 'pigpio') =>
    `head: { driver: ${host} }\n  chip: { driver: pca9685, bus: 1, address: 0x40, enable: ${enable} }`;

  test('wired to a pin that is pulled up, a relay on the chip is fine', () => {
    const text = propText(
      relayOn(0, false).replace('»', ''),
      '',
      boards('{ board: head, pin: 8 }'),
    );
    expectFindings(text, []);
  });

  test('wired to a pin that is pulled down, the chip is not cut while no daemon runs', () => {
    const text = propText(FAN, '', boards('{ board: head, pin: »17 }'));
    expectFindings(text, [
      { severity: 'warning', wrong: 'pulled down.*not cut while no daemon runs', right: 'pull-up' },
    ]);
  });

  test('an active-low relay needs a pull-up: disabled outputs float', () => {
    const text = propText(relayOn(0, true), '', boards('{ board: head, pin: 8 }'));
    // The board comes first in the file, the channel's finding is the only one.
    expectFindings(text, [
      { severity: 'warning', wrong: 'outputs float', right: 'external pull-up resistor' },
    ]);
  });

  test('its pin is nobody else’s, its board is there, and is not a pca9685', () => {
    expectFindings(propText(FAN, '', boards('{ board: »nowhere, pin: 8 }')), [
      { wrong: 'no board nowhere|there is no' },
    ]);
    expectFindings(
      propText(
        'a: { kind: relay, output: { board: head, pin: 8, activeLow: true } }',
        '',
        boards('{ board: head, pin: »8 }'),
      ),
      [{ wrong: 'pin 8 is taken by a' }],
    );
    expectFindings(propText(FAN, '', boards('{ board: »chip, pin: 8 }')), [
      { wrong: 'cannot enable another', right: 'pin of the header' },
    ]);
  });
});

test('on a linux board an active-low relay on a pulled-down pin may close after the daemon as well', () => {
  const text = propText(
    'a: { kind: relay, output: { board: head, pin: »17, activeLow: true } }',
    '',
    'head: { driver: linux, chip: gpiochip0, pwmChip: 0 }',
  );
  expectFindings(text, [
    {
      severity: 'warning',
      wrong: 'pulled down .* may close until the daemon runs, and again when the daemon has ended',
      right: /GPIO 0-8.*pull-up/,
    },
  ]);
});

describe('servos', () => {
  test.each([
    ['[[1000, -45], »[1000, 45]]', /pulse goes from 1000 to 1000/],
    ['[[1000, -45], »[2000, -45]]', /angle goes from -45 to -45/],
    ['[[1000, -45], [1500, 0], »[1400, 45]]', /pulse goes from 1500 to 1400/],
    ['[[1000, -45], [1500, 0], [1600, 5], »[2000, 4]]', /angle goes from 5 to 4/],
    ['[[1000, 45], [1500, 0], »[2000, 1]]', /angle goes from 0 to 1/],
    ['[[2000, 45], [1500, 0], »[1600, -45]]', /pulse goes from 1500 to 1600/],
  ])('calibration %s is not monotonic', (calibration, wrong) => {
    expectFindings(propText(`a: ${servo(4, { calibration })}`), [
      { wrong, right: 'measure this point again' },
    ]);
  });

  test.each(['[[1000, 45], [2000, -45]]', '[[2000, 45], [1000, -45]]', '[[2000, -9], [1000, 9]]'])(
    'calibration %s is monotonic',
    (calibration) => expectFindings(propText(`a: ${servo(4, { calibration })}`), []),
  );

  test('a calibration in other units', () => {
    expectFindings(propText(`a: ${servo(4, { calibration: '»[[1, -45], [2, 45]]' })}`), [
      { wrong: 'from 1 to 2 us', right: '100 to 3000' },
    ]);
  });

  test('low and high the wrong way round', () => {
    expectFindings(propText(`a: ${servo(4, { envelopeUs: '»[2100, 900]' })}`), [
      { path: 'channels.a.envelopeUs', wrong: '2100 us is not below 900 us' },
    ]);
    expectFindings(propText(`a: ${servo(4, { limitsDeg: '»[30, -30]' })}`), [
      { path: 'channels.a.limitsDeg', wrong: '30 deg is not below -30 deg' },
    ]);
    expectFindings(propText(`a: ${servo(4, { limitsDeg: '»[0, 0]' })}`), [{ wrong: 'not below' }]);
  });

  test('limits outside the calibration', () => {
    expectFindings(propText(`a: ${servo(4, { limitsDeg: '[»-45.9, »54]' })}`), [
      // 1000 us per 90 deg: -45.9 deg is 10 us below 1000 us, 54 deg is 100 us above 2000 us.
      {
        path: 'channels.a.limitsDeg[0]',
        wrong: /990 us, outside the calibration/,
        right: '-45 to 45',
      },
      { path: 'channels.a.limitsDeg[1]', wrong: /2100 us, outside the calibration/ },
    ]);
    expectFindings(propText(`a: ${servo(4, { limitsDeg: '[-45, 45]' })}`), []);
  });

  test('limits beyond the calibration, within a wider envelope', () => {
    const more = { envelopeUs: '[900, 2100]', limitsDeg: '[»-54, 45]' };
    expectFindings(propText(`a: ${servo(4, more)}`), [
      { severity: 'warning', wrong: /-54 deg is beyond the calibration, -45 to 45/ },
    ]);
  });

  test('limits outside the envelope', () => {
    const more = { envelopeUs: '[1100, 2000]', limitsDeg: '[»-40, 45]' };
    expectFindings(propText(`a: ${servo(4, more)}`), [
      // -45 deg + 100 us * 90 deg / 1000 us
      { wrong: 'outside the envelope, 1100 to 2000 us', right: '-36 to 45 deg' },
    ]);
    // The same with a falling angle: the low limit is the long pulse.
    const falling = { calibration: '[[1000, 45], [2000, -45]]', envelopeUs: '[1000, 1900]' };
    expectFindings(propText(`a: ${servo(4, { ...falling, limitsDeg: '[»-40, 45]' })}`), [
      { wrong: '1944.4 us', right: '-36 to 45 deg' },
    ]);
  });

  test('default limits outside the envelope', () => {
    expectFindings(propText(`a: ${servo(4, { envelopeUs: '»[1100, 2000]' })}`), [
      { wrong: 'default limit -45 deg', right: 'limitsDeg within -36 to 45' },
    ]);
  });

  test('limits with no pulse between them', () => {
    expectFindings(
      propText(`a: ${servo(4, { limitsDeg: '»[0.01, 0.05]', park: '{ to: 0.02 }' })}`),
      [{ wrong: 'multiples of 1 us', right: 'further apart' }],
    );
  });

  test('marks and park outside the soft limits', () => {
    const more = {
      limitsDeg: '[-10, 30]',
      marks: '{ low: »-10.1, high: »30.1, in: 30 }',
      park: '{ to: »31 }',
    };
    expectFindings(propText(`a: ${servo(4, more)}`), [
      { path: 'channels.a.park.to', wrong: '31 deg' },
      { path: 'channels.a.marks.low', wrong: '-10.1 deg is outside', right: '-10 to 30 deg' },
      { path: 'channels.a.marks.high', wrong: '30.1 deg' },
    ]);
  });

  test('park at an unknown mark', () => {
    expectFindings(propText(`a: ${servo(4, { marks: '{ shut: 0 }', park: '{ to: »shutt }' })}`), [
      { wrong: 'a has no mark "shutt"', right: 'did you mean shut' },
    ]);
    expectFindings(propText(`a: ${servo(4, { park: '{ to: »constructor }' })}`), [
      { wrong: 'no mark "constructor"', right: 'none' },
    ]);
  });

  test('the simulated plant', () => {
    const boards = 'head: { driver: sim, plant: { »bb: {}, a: { stopsDeg: »[5, -5] }, »r: {} } }';
    expectFindings(propText(`a: ${servo(4)}\n  r: ${relay(7)}`, '', boards), [
      { wrong: 'no channel bb' },
      { wrong: '5 deg is not below|not below' },
      { wrong: 'r is a relay' },
    ]);
  });
});

describe('link', () => {
  test('hold-then-park needs holdS', () => {
    expectFindings(propText(`a: ${servo(4)}`, 'link: { onLoss: »hold-then-park }'), [
      { wrong: 'how long', right: 'holdS' },
    ]);
    expectFindings(propText(`a: ${servo(4)}`, 'link: { holdS: »2 }'), [
      { severity: 'warning', wrong: 'no effect' },
    ]);
    expectFindings(propText(`a: ${servo(4)}`, 'link: { onLoss: hold-then-park, holdS: 2 }'), []);
  });
});

describe('colours', () => {
  test('what is not a CSS colour', () => {
    expectFindings(
      propText(
        `e: ${RGB('[4, 5, 6]', ', park: { to: »dusky }')}`,
        `poses: { p: { e: »"#ff" } }
cues: { c: [{ at: 0, colour: { e: »"rgb(1 2)" } }] }`,
      ),
      [
        { path: 'channels.e.park.to', wrong: '"dusky" is not a colour', right: 'CSS' },
        { path: 'poses.p.e', wrong: '"#ff" is not a colour' },
        { path: 'cues.c[0].colour.e', wrong: 'not a colour' },
      ],
    );
  });

  // CSS Color Module Level 4: hex, named, hsl, oklch, color().
  test.each(['"#0f08"', 'rebeccapurple', 'hsl(120deg 50% 50%)', 'oklch(75% 0.15 80)'])(
    '%s is one',
    (colour) => expectFindings(propText(`e: ${RGB('[4, 5, 6]', `, park: { to: ${colour} }`)}`), []),
  );
});

describe('interlocks', () => {
  const needs = (requires: string) => ({ requires: `[${requires}]` });

  test('naming what is not there, or itself', () => {
    expectFindings(
      propText(`a: ${servo(4, needs('{ channel: »bb, above: 1 }, { channel: »a, above: 1 }'))}`),
      [
        { path: 'channels.a.requires[0].channel', wrong: 'no channel bb' },
        { path: 'channels.a.requires[1].channel', wrong: 'a requires itself' },
      ],
    );
  });

  test('the wrong question for the kind', () => {
    const requires = '{ channel: r, »above: 1 }, { channel: s, is: »on }, { channel: l, is: »off }';
    const marked = requires.replace('»above: 1', 'above: »1');
    expectFindings(
      propText(
        `a: ${servo(4, needs(marked))}\n  r: ${relay(7)}\n  s: ${servo(5)}\n  l: ${LAMP(6)}`,
      ),
      [
        { path: 'channels.a.requires[0].above', wrong: 'r is a relay', right: 'is: on' },
        { path: 'channels.a.requires[1].is', wrong: 's is a servo', right: 'above or below' },
        { path: 'channels.a.requires[2].is', wrong: 'l is a lamp' },
      ],
    );
  });

  test('what can never be met', () => {
    const s = servo(5, { limitsDeg: '[-10, 30]' });
    const requires = '{ channel: s, above: »30 }, { channel: s, below: »-10 }';
    const [above, below] = requires.split(/, (?={)/);
    expectFindings(propText(`a: ${servo(4, needs(above!))}\n  s: ${s}`), [
      { wrong: 's is never above 30 deg', right: 'below 30' },
    ]);
    expectFindings(propText(`a: ${servo(4, needs(below!))}\n  s: ${s}`), [
      { wrong: 's is never below -10 deg', right: 'above -10' },
    ]);
    const fine = '{ channel: s, above: 29.9 }';
    expectFindings(propText(`a: ${servo(4, needs(fine))}\n  s: ${s}`), []);
  });

  test('requirements that exclude each other', () => {
    const angles = '{ channel: s, above: 10 }, »{ channel: s, below: 5 }';
    expectFindings(propText(`a: ${servo(4, needs(angles))}\n  s: ${servo(5)}`), [
      { path: 'channels.a.requires[1]', wrong: 'never met together' },
    ]);
    const words = '{ channel: r, is: on }, »{ channel: r, is: off }';
    expectFindings(propText(`a: ${servo(4, needs(words))}\n  r: ${relay(7)}`), [
      { wrong: 'never met together' },
    ]);
    const window = '{ channel: s, above: 5 }, { channel: s, below: 10 }';
    expectFindings(propText(`a: ${servo(4, needs(window))}\n  s: ${servo(5)}`), []);
  });

  test('circles are told with their way round', () => {
    expectFindings(
      propText(
        `a: ${servo(4, needs('{ channel: b, above: 1 }'))}
  b: ${servo(5, needs('{ channel: c, above: 1 }'))}
  c: ${servo(6, needs('{ channel: »a, above: 1 }'))}`,
      ),
      [{ path: 'channels.c.requires[0].channel', wrong: 'a -> b -> c -> a$' }],
    );
    // A shared requirement is not a circle.
    expectFindings(
      propText(
        `a: ${servo(4, needs('{ channel: b, above: 1 }, { channel: c, above: 1 }'))}
  b: ${servo(5, needs('{ channel: c, above: 1 }'))}
  c: ${servo(6)}`,
      ),
      [],
    );
  });
});

describe('rails', () => {
  const rails = (limitA: string) => `rails: { r: { volts: 6, limitA: ${limitA} } }`;
  const draw = (idleA: number, movingA: number, mark = '') => ({
    rail: 'r',
    draw: `${mark}{ idleA: ${idleA}, movingA: ${movingA} }`,
  });

  test('unknown', () => {
    expectFindings(propText(`a: ${servo(4, { ...draw(0, 0), rail: '»q' })}`, rails('1')), [
      { path: 'channels.a.rail', wrong: 'no rail q' },
    ]);
  });

  test('a rail without a draw', () => {
    expectFindings(propText(`a: ${servo(4, { rail: '»r' })}`, rails('1')), [
      { severity: 'warning', wrong: 'no draw', right: 'give its draw' },
    ]);
  });

  test('idle draws that can never fit', () => {
    const two = `a: ${servo(4, draw(0.6, 0.7))}\n  b: ${servo(5, draw(0.5, 0.7))}`;
    expectFindings(propText(two, rails('»1')), [
      { path: 'rails.r.limitA', wrong: '1.1 A when everything holds still, the limit is 1 A' },
    ]);
  });

  test('a single channel that can never fit', () => {
    // 0.9 A moving while the other idles at 0.2 A
    const two = (mark: string) =>
      `a: ${servo(4, draw(0.1, 0.9, mark))}\n  b: ${servo(5, draw(0.2, 0.3))}`;
    expectFindings(propText(two('»'), rails('1')), [
      { path: 'channels.a.draw', wrong: 'a alone brings rail r to 1.1 A' },
    ]);
    expectFindings(propText(two(''), rails('1.1')), []);
  });

  test('relays, rgb and lamps that can never fit', () => {
    expectFindings(
      propText(
        `a: ${relay(7, { rail: 'r', draw: '»{ onA: 1.1 }', duty: '{ maxOnS: 5, restS: 5 }' })}
  b: ${RGB('[9, 10, 11]', ', through: driver board, rail: r, draw: »{ fullA: [0.4, 0.4, 0.4] }')}
  c: ${LAMP(12, ', through: n-mosfet, rail: r, draw: »{ fullA: 1.5 }')}`,
        rails('1'),
      ),
      [{ wrong: '1.1 A' }, { wrong: '1.2 A' }, { wrong: '1.5 A' }],
    );
  });

  test('a group that cannot move together', () => {
    const two = `a: ${servo(4, draw(0, 0.6))}\n  b: ${servo(5, draw(0, 0.6))}`;
    expectFindings(propText(two, `${rails('1')}\ngroups: { g: »[a, b] }`), [
      { severity: 'warning', path: 'groups.g', wrong: '1.2 A' },
    ]);
  });
});

describe('groups', () => {
  test('members', () => {
    expectFindings(propText(`a: ${servo(4)}\n  r: ${relay(7)}`, 'groups: { g: [a, »a, »r, »x] }'), [
      { path: 'groups.g[1]', wrong: 'in this group already' },
      { path: 'groups.g[2]', wrong: 'r is a relay', right: 'servos only' },
      { path: 'groups.g[3]', wrong: 'no channel x' },
    ]);
  });

  test('a group called like a channel', () => {
    expectFindings(propText(`a: ${servo(4)}`, 'groups: { »a: [a] }'), [
      { wrong: 'name of a channel', right: 'rename' },
    ]);
  });
});

describe('poses', () => {
  const channels = `s: ${servo(4, { limitsDeg: '[-10, 30]', marks: '{ open: 5 }' })}
  r: ${relay(7)}
  e: ${RGB('[5, 6, 9]')}
  l: ${LAMP(12)}`;

  test('values that fit', () => {
    const poses = 'poses: { p: { s: open, r: on, e: red, l: 0.5 }, q: { s: -10, r: "off" } }';
    expectFindings(propText(channels, poses), []);
  });

  test.each([
    ['{ »x: 1 }', 'no channel x'],
    ['{ s: »31 }', '31 deg is outside'],
    ['{ s: »opne }', 'no mark "opne"'],
    ['{ r: »1 }', 'neither on nor off'],
    ['{ r: »yes }', 'neither on nor off'],
    ['{ e: »5 }', 'not a colour'],
    ['{ l: »2 }', 'not a level'],
    ['{ l: »bright }', 'not a level'],
  ])('%s', (pose, wrong) => {
    expectFindings(propText(channels, `poses: { p: ${pose} }`), [{ wrong }]);
  });
});

describe('park stages', () => {
  test('unknown, or twice, with a group as well', () => {
    expectFindings(
      propText(
        `a: ${servo(4)}\n  b: ${servo(5)}`,
        'groups: { g: [a, b] }\npark: { stages: [[a, »c], [b, »a], [»g]] }',
      ),
      [
        { path: 'park.stages[0][1]', wrong: 'no channel c' },
        { path: 'park.stages[1][1]', wrong: 'a parks in an earlier place already' },
        {
          path: 'park.stages[2][0]',
          wrong: 'a, b park in an earlier place already',
          right: 'once',
        },
      ],
    );
  });
});

test('a park that may take longer than the service has to end', () => {
  const unit = readFileSync(new URL('../../systemd/sinewd.service', import.meta.url), 'utf8');
  expect(unit).toMatch(/^TimeoutStopSec=60s$/m);
  const park = (s: string) => `park: { stages: [], deadlineS: ${s} }`;
  expectFindings(propText(`a: ${servo(4)}`, park('59')), []);
  expectFindings(propText(`a: ${servo(4)}`, park('»60')), [
    { severity: 'warning', path: 'park.deadlineS', wrong: '60 s to park', right: 'TimeoutStopSec' },
  ]);
});
