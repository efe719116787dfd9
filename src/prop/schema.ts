import * as z from 'zod';
import { type Board, boardSchemas, DRIVER_NAMES } from '../boards/registry.ts';
import { lazily } from '../shared/lazily.ts';
import { NAME } from './name.ts';

/**
 * The prop file: one schema gives the type, the check, the message and the documentation.
 * A message reads on after the value it is about: `is not above 0; give volts`.
 * Semantic rules that need two places of the file at once are in lint.ts.
 */

function make() {
  const an = (what: string) => (/^[aeiou]/.test(what) ? `an ${what}` : `a ${what}`);

  const oneOf = (words: readonly string[]) => `${words.slice(0, -1).join(', ')} or ${words.at(-1)}`;

  const name = (what: string) =>
    z.string().regex(NAME, {
      error: `is not ${an(what)} name; use a letter, then letters, digits, _ or - (64 at most)`,
    });

  const positive = (unit: string, doc: string) =>
    z
      .number({ error: `is not a number; give ${unit} as a number above 0` })
      .positive({
        error: `is not above 0; give ${unit}`,
      })
      .describe(doc);

  const atLeast0 = (unit: string, doc: string) =>
    z
      .number({ error: `is not a number; give ${unit} as a number, 0 or more` })
      .nonnegative({
        error: `is negative; give ${unit}, 0 or more`,
      })
      .describe(doc);

  const pin = z
    .int({
      error:
        'is not a pin number; give a whole number, 0 to 63 (GPIO of the header, or output of the chip)',
    })
    .min(0)
    .max(63)
    .describe('GPIO number on the header, or output number of the chip');

  const onOff = z
    .enum(['on', 'off'], { error: 'is neither on nor off; write on or off' })
    .describe('the words on and off, quoted or not');

  const position = z.union([z.number(), name('mark')], {
    error: 'is not a position; give deg or the name of a mark',
  });

  // --- boards and rails -------------------------------------------------------------------------

  // One by one: with the namespace as a value a bundle has all of zod, other languages included.
  const zodForBoards = {
    array: z.array,
    boolean: z.boolean,
    enum: z.enum,
    int: z.int,
    literal: z.literal,
    number: z.number,
    record: z.record,
    strictObject: z.strictObject,
    string: z.string,
    tuple: z.tuple,
    union: z.union,
  };
  const board = z.discriminatedUnion(
    'driver',
    boardSchemas(zodForBoards, { name, pin, positive, atLeast0 }),
    {
      error: `is not a driver; use ${oneOf(DRIVER_NAMES)}`,
    },
  );

  const end = z.string().regex(/^[A-Za-z][A-Za-z0-9_]*-[A-Za-z0-9]+$/, {
    error: 'is not an end of a wire; give connector and cavity, such as J1-12',
  });

  const rail = z.strictObject({
    volts: positive('volts', 'supply voltage (V)'),
    limitA: positive('amperes', 'current that the supply may be asked for (A)'),
    supply: z
      .strictObject({ plus: end, return: end })
      .optional()
      .describe('terminals of the supply, where its wires start'),
    fuse: z
      .strictObject({
        ratingA: positive('amperes', 'rated current (A)'),
        standard: z
          .enum(['ISO 8820', 'IEC 60127'], {
            error: 'is not a fuse standard; write ISO 8820 (blade) or IEC 60127 (cartridge)',
          })
          .default('ISO 8820'),
        from: end.describe('the side of the supply'),
        to: end.describe('the side of the load'),
      })
      .optional(),
    battery: z
      .strictObject({
        capacityAh: positive('ampere-hours', 'rated capacity (Ah)'),
        ratedH: positive('hours', 'discharge time at which the capacity is rated (h)').default(20),
        peukert: z
          .number({ error: 'is not a number; give the exponent, such as 1.2' })
          .min(1, { error: 'is below 1; give the exponent of Peukert, 1 or more' })
          .max(2, { error: 'is above 2; give the exponent of Peukert, such as 1.2' })
          .default(1)
          .describe("Peukert's exponent; 1 counts ampere-hours alone"),
        wantedH: positive('hours', 'how long it must last (h)').optional(),
      })
      .optional()
      .describe('the battery that feeds this rail'),
  });

  // --- channels ---------------------------------------------------------------------------------

  const core = z.strictObject({
    role: z.string().min(1).describe('signal, plus, return, ...'),
    colour: z.string().min(2).max(8).describe('IEC 60757 code, e.g. RD, GNYE'),
    from: z.string().min(1).describe('connector and cavity, e.g. J1-12'),
    to: z.string().min(1).describe('connector and cavity, e.g. SV3-1'),
  });

  const connector = z
    .strictObject({
      name: z.string().min(1).max(64).optional().describe('what it is, in words'),
      board: name('board')
        .optional()
        .describe(
          'its cavities are the pins of this board: the 40-pin header, or the outputs of a pca9685',
        ),
      cavities: z.int().min(1).max(200).optional().describe('how many it has'),
      bridged: z
        .array(z.array(z.union([z.int(), z.string()])).min(2))
        .optional()
        .describe('cavities that are joined inside, e.g. by the bar of a terminal block'),
    })
    .describe('a connector or terminal block');

  const wire = z.strictObject({
    label: z.string().min(1).max(32).describe('the label on the wire'),
    gaugeAwg: z
      .number({ error: 'is not a number; give the American wire gauge, 0 to 40' })
      .min(0, { error: 'is not a gauge; give AWG 0 to 40, or sectionMm2 for thicker wire' })
      .max(40, { error: 'is not a gauge; give AWG 0 to 40' })
      .optional()
      .describe('American wire gauge'),
    sectionMm2: positive('mm2', 'cross-section (mm2), instead of a gauge').optional(),
    lengthM: positive('metres', 'length, one way (m)').optional(),
    cores: z.array(core).min(1).describe('the cores of this wire'),
  });

  /** A wire that is not a channel's own: a feed, a trunk, a load circuit. */
  const trunk = wire.extend({
    rail: name('rail').optional().describe('the rail that it carries'),
    channel: name('channel').optional().describe('the channel that it belongs to'),
  });

  const bound = (side: string) =>
    z
      .union([z.number(), name('mark')], {
        error: 'is not a number and no name of a mark; give degrees, or a mark of that channel',
      })
      .describe(`the other servo is ${side} this (deg, or one of its marks)`);

  const whileMoving = z
    .literal('moving', { error: 'is not moving; write while: moving, or leave it out' })
    .optional()
    .describe(
      'binds the other channel only while this servo moves; without it, for as long as this channel is away from its park position or on',
    );

  const requirement = z
    .union(
      [
        z.strictObject({ channel: name('channel'), above: bound('above'), while: whileMoving }),
        z.strictObject({ channel: name('channel'), below: bound('below'), while: whileMoving }),
        z.strictObject({
          channel: name('channel'),
          is: z
            .enum(['on', 'off', 'parked'], {
              error: 'is neither on nor off nor parked; write on, off or parked',
            })
            .describe('on or off: a relay; parked: any channel, at rest at its park position'),
          while: whileMoving,
        }),
      ],
      {
        error:
          'is not an interlock; give { channel, above: deg }, { channel, below: deg } or { channel, is: on|off|parked }',
      },
    )
    .describe(
      'interlock: what must hold while this channel moves, is away from its park position, or is on; it binds the other channel too: what would break it is refused',
    );

  const common = {
    rail: name('rail').optional().describe('the supply that this channel draws from'),
    requires: z.array(requirement).optional().describe('interlocks'),
    wire: wire.optional(),
  };

  const flash = z
    .strictObject({
      unrestricted: z.literal(true),
      reason: z
        .string()
        .min(10, { error: 'is too short; say in a sentence why flashing is acceptable here' }),
    })
    .describe('lifts the limit of three flashes a second (WCAG 2.2, 2.3.1); the reason is shown');

  const flicker = z
    .strictObject({
      accepted: z.literal(true),
      reason: z.string().min(10, {
        error: 'is too short; say in a sentence why slow PWM is acceptable here',
      }),
    })
    .describe('accepts PWM below 100 Hz, which flickers; the reason says why');

  const lightWeight = z
    .strictObject({
      share: z
        .number({ error: 'is not a number; give a share above 0, up to 1' })
        .positive({ error: 'is not above 0; give its share of all light of the prop, such as 0.3' })
        .max(1, { error: 'is above 1; give its share of all light of the prop, such as 0.3' })
        .optional()
        .describe(
          'of all light of the prop at full; those without one have the rest in equal parts',
        ),
      lumens: positive('lumens', 'luminous flux at full (lm)').optional(),
    })
    .refine(({ share, lumens }) => (share === undefined) !== (lumens === undefined), {
      error: 'needs one of share and lumens; give exactly one',
    })
    .describe('how much it counts when flashes are judged; all alike without it');

  const calibrationPoint = z.tuple([z.number(), z.number()], {
    error: 'is not a calibration point; give [pulse us, angle deg]',
  });

  const angle = (doc: string) =>
    z.number({ error: 'is not a number; give degrees as a number' }).describe(doc);

  const link = (doc: string) =>
    z
      .number({ error: 'is not a number; give millimetres' })
      .min(0.1, { error: 'is below 0.1 mm; give millimetres' })
      .max(10_000, { error: 'is above 10 m; give millimetres' })
      .describe(doc);

  /** From the servo's horn to the flap's hinge: its angles are drawn in the readme. */
  const linkage = z
    .strictObject({
      groundMm: link('servo shaft to hinge, between centres (mm)'),
      hornMm: link('servo shaft to the pin in the horn (mm)'),
      couplerMm: link('the rod, pin to pin (mm)'),
      flapMm: link('hinge to the pin in the flap (mm)'),
      hornZeroDeg: angle(
        'angle of the horn where the calibration says 0: from the direction shaft to hinge, anticlockwise (deg)',
      ).default(90),
      flapZeroDeg: angle(
        'angle of the line hinge to pin where the flap is at 0, measured as that of the horn (deg); default: where it is with the horn at 0',
      ).optional(),
      crossed: z
        .boolean()
        .default(false)
        .describe('horn pin and flap pin lie on opposite sides of the line shaft to hinge'),
      hornSpeedDegS: positive(
        'deg/s',
        'the fastest that the servo turns its horn (deg/s)',
      ).optional(),
    })
    .describe(
      'four-bar linkage from horn to flap: the calibration then counts degrees of the horn, all else those of the flap',
    );

  const flapLoad = z
    .strictObject({
      massKg: positive('kilograms', 'mass (kg)'),
      centreMm: atLeast0('millimetres', 'hinge to centre of mass (mm); 0 about an upright axis'),
      levelDeg: angle(
        'where the centre of mass is level with the hinge (deg); default: at every angle',
      ).optional(),
      lifts: z
        .enum(['rising', 'falling'], { error: 'is neither rising nor falling; write one of them' })
        .default('rising')
        .describe('the angles that lift its weight there'),
      spring: z
        .strictObject({
          torqueNm: z.number().describe('torque towards rising angles (N m)'),
          atDeg: angle('where it has this torque (deg)').default(0),
          rateNmPerDeg: z
            .number()
            .default(0)
            .describe('change of its torque with rising angles (N m/deg)'),
        })
        .optional()
        .describe('a spring on the hinge'),
      inertiaKgM2: positive(
        'kg m2',
        'moment of inertia about the hinge (kg m2); default: all mass in its centre',
      ).optional(),
    })
    .describe('a flap, lid or wing on its hinge');

  const armLoad = z
    .strictObject({
      massKg: positive('kilograms', 'mass, with the servo that it carries (kg)'),
      centreMm: atLeast0('millimetres', 'joint to centre of mass (mm)'),
      lengthMm: positive('millimetres', 'joint to the joint that it carries (mm)').optional(),
      carries: name('channel').optional().describe('the channel of the next joint'),
      levelDeg: angle(
        'first joint: where the segment is level (deg); default: it may point anywhere',
      ).optional(),
      straightDeg: angle(
        'further joints: where the segment is in line with the one before it (deg)',
      ).optional(),
    })
    .describe(
      'a segment of an arm that swings in an upright plane, all angles rising the same way',
    );

  const load = z
    .strictObject({ flap: flapLoad.optional(), arm: armLoad.optional() })
    .refine(({ flap, arm }) => (flap === undefined) !== (arm === undefined), {
      error: 'needs one of flap and arm; give exactly one',
    })
    .describe('what the servo has to move, for the sums of torque');

  const servo = z.strictObject({
    kind: z.literal('servo'),
    output: z.strictObject({ board: name('board'), pin }),
    ...common,
    calibration: z
      .array(calibrationPoint)
      .min(2, { error: 'has fewer than two points; give two or more, each [pulse us, angle deg]' })
      .describe(
        '[pulse us, angle deg] points, strictly monotonic in both; piecewise linear between',
      ),
    envelopeUs: z
      .tuple([z.number().min(100).max(3000), z.number().min(100).max(3000)])
      .optional()
      .describe(
        'pulse widths (us) that no command may leave; default: the ends of the calibration',
      ),
    limitsDeg: z
      .tuple([z.number(), z.number()])
      .optional()
      .describe('soft limits (deg), low then high; default: the ends of the calibration'),
    speedDegS: positive('deg/s', 'speed limit (deg/s)').default(60),
    accelDegS2: positive('deg/s2', 'acceleration limit (deg/s2)').default(300),
    jerkDegS3: positive('deg/s3', 'jerk limit (deg/s3)').optional(),
    draw: z
      .strictObject({
        idleA: atLeast0('amperes', 'current while holding (A)').default(0),
        movingA: atLeast0('amperes', 'current while moving (A)').default(0),
        stallA: atLeast0('amperes', 'current when stalled (A)').default(0),
      })
      .optional(),
    linkage: linkage.optional(),
    stallNm: positive(
      'newton metres',
      'stall torque at the voltage of its rail (N m); 1 kgf cm is 0.098 N m',
    ).optional(),
    load: load.optional(),
    marks: z.record(name('mark'), z.number()).optional().describe('named positions (deg)'),
    park: z
      .strictObject({
        to: position.describe('deg or a mark'),
        then: z
          .enum(['hold', 'release'], {
            error: 'is neither hold nor release; write hold or release',
          })
          .default('hold')
          .describe('keep holding, or stop the pulses'),
      })
      .describe('the safe resting position'),
  });

  /** The coil of a bare relay that a pin switches through a transistor; a module brings its own. */
  const coil = z
    .strictObject({
      volts: positive('volts', 'supply of the coil (V)'),
      ohm: positive('ohms', 'resistance of the coil (ohm)'),
      gain: positive('the gain', 'least current gain of the transistor, hFE').default(100),
      driveV: positive('volts', 'voltage of the pin (V)').default(3.3),
      baseOhm: positive('ohms', 'base resistor (ohm)').optional(),
    })
    .describe('coil of a bare relay, switched by a pin through a transistor');

  const relay = z.strictObject({
    kind: z.literal('relay'),
    output: z.strictObject({ board: name('board'), pin, activeLow: z.boolean().default(false) }),
    ...common,
    contact: z
      .enum(['held', 'momentary'], {
        error: 'is neither held nor momentary; write held or momentary',
      })
      .default('held'),
    pulseMs: positive('milliseconds', 'length of a momentary closure (ms)').optional(),
    draw: z.strictObject({ onA: atLeast0('amperes', 'current while closed (A)') }).optional(),
    coil: coil.optional(),
    duty: z
      .strictObject({
        maxOnS: positive('seconds', 'longest time closed (s)'),
        restS: positive('seconds', 'rest after it (s)'),
      })
      .optional()
      .describe('duty guard: total closed time without a rest'),
    minOnS: atLeast0(
      'seconds',
      'shortest closure (s), but for safety; default: 0.1, or the pulse of a momentary contact',
    ).optional(),
    minOffS: atLeast0(
      'seconds',
      'shortest time open between closures (s); default: 0.1',
    ).optional(),
    vapour: z
      .strictObject({
        tankMl: positive('millilitres', 'water that may be used before the unit runs dry (ml)'),
        rateMlPerH: positive('ml/h', 'water that the unit takes while it is on (ml/h)'),
      })
      .optional()
      .describe('a unit that turns water into vapour'),
    light: z
      .union([z.literal(true), lightWeight], {
        error: 'is not a light; give true, { share: 0.3 } or { lumens: 400 }',
      })
      .optional()
      .describe('it switches a light: it counts when flashes are judged, and may have to wait'),
    flash: flash.optional(),
    safe: onOff
      .optional()
      .describe(
        'the state that is safe (default: off); on: what must stay closed, such as a brake, so that a stop, a fault or the death of the daemon leaves it closed',
      ),
    park: z.strictObject({ to: onOff }).default({ to: 'off' }),
  });

  /** What is alike for every colour of an LED. */
  const led = {
    currentA: positive('amperes', 'current that each LED may have (A)'),
    spreadV: atLeast0('volts', 'how far forward voltages lie around nominal (V)').default(0.2),
    supplyV: positive('volts', 'supply of the LED (V); default: the rail').optional(),
  };
  const forwardV = positive('volts', 'nominal forward voltage (V)');
  const resistorOhm = positive('ohms', 'series resistor (ohm)');
  const three = <T extends z.ZodType>(of: T, doc: string) =>
    z
      .tuple([of, of, of], { error: 'is not three values; give [red, green, blue]' })
      .describe(`${doc}: red, green, blue`);

  const gain = z
    .number({ error: 'is not a number; give a gain above 0, up to 1' })
    .positive({ error: 'leaves this colour dark for good; give a gain above 0, up to 1' })
    .max(1, { error: 'is above 1: nothing is brighter than full; lower the gains of the others' });

  const rgb = z.strictObject({
    kind: z.literal('rgb'),
    output: z.strictObject({
      board: name('board'),
      pins: z.tuple([pin, pin, pin], { error: 'is not three pins; give [red, green, blue]' }),
      common: z
        .enum(['anode', 'cathode'], {
          error: 'is neither anode nor cathode; write anode or cathode',
        })
        .default('cathode'),
    }),
    ...common,
    whiteBalance: z
      .tuple([gain, gain, gain], {
        error: 'is not a white balance; give [red, green, blue], each above 0, up to 1',
      })
      .default([1, 1, 1])
      .describe(
        'scales the linear light of red, green and blue (above 0, up to 1) so that #ffffff looks white',
      ),
    draw: z
      .strictObject({
        fullA: z
          .tuple([z.number().min(0), z.number().min(0), z.number().min(0)], {
            error: 'is not three currents; give [red, green, blue] in A',
          })
          .describe('current of red, green and blue at full duty, before any white balance (A)'),
      })
      .optional(),
    led: z
      .strictObject({
        ...led,
        forwardV: three(forwardV, 'forward voltages (V)'),
        resistorOhm: three(resistorOhm, 'series resistors (ohm)').optional(),
      })
      .optional()
      .describe('its LEDs, to work out or check the series resistors'),
    fadeS: atLeast0('seconds', 'least time for a full-scale change (s)').default(0),
    light: lightWeight.optional(),
    flash: flash.optional(),
    flicker: flicker.optional(),
    park: z
      .strictObject({ to: z.string().describe('CSS Color 4 string') })
      .default({ to: '#000000' }),
  });

  const lamp = z.strictObject({
    kind: z.literal('lamp'),
    output: z.strictObject({ board: name('board'), pin, activeLow: z.boolean().default(false) }),
    ...common,
    draw: z.strictObject({ fullA: atLeast0('amperes', 'current at full (A)') }).optional(),
    led: z
      .strictObject({ ...led, forwardV, resistorOhm: resistorOhm.optional() })
      .optional()
      .describe('its LED, or a string of them, to work out or check the series resistor'),
    fadeS: atLeast0('seconds', 'least time for a full-scale change (s)').default(0),
    light: lightWeight.optional(),
    flash: flash.optional(),
    flicker: flicker.optional(),
    park: z
      .strictObject({ to: z.number().min(0).max(1).describe('perceived lightness, 0 to 1') })
      .default({ to: 0 }),
  });

  const channel = z.discriminatedUnion('kind', [servo, relay, rgb, lamp], {
    error: 'is not a kind of channel; use servo, relay, rgb or lamp',
  });

  // --- poses, cues, park ------------------------------------------------------------------------

  /** A value in a pose: deg, 0..1, a mark, on/off or a CSS colour, by the kind of the channel. */
  const poseValue = z.union([z.number(), z.string()], {
    error: 'is not a value for a pose; give a number, a mark, on/off or a colour',
  });

  /** Uniformly at random within `around` ± `spread`. */
  const spread = z
    .strictObject({ around: z.number(), spread: atLeast0('degrees', 'half of the width (deg)') })
    .describe('somewhere within around ± spread (deg), drawn again each time');

  const cueTarget = z.union([z.number(), name('mark'), spread], {
    error: 'is not a position; give degrees, a mark, or { around: deg, spread: deg }',
  });

  const ease = z
    .string()
    .max(80)
    .describe('CSS easing function, e.g. ease-in-out or cubic-bezier(0.4, 0, 0.2, 1)');

  const until = z
    .strictObject({
      channel: name('channel'),
      above: z.number().optional(),
      below: z.number().optional(),
      is: onOff.optional(),
      withinS: positive('seconds', 'how long to wait at most (s)'),
      otherwise: z
        .enum(['go on', 'end', 'park'], {
          error: 'is none of go on, end and park; write one of them',
        })
        .default('end')
        .describe('what happens when the time is over'),
    })
    .refine(
      ({ above, below, is }) => [above, below, is].filter((one) => one !== undefined).length === 1,
      {
        error: 'needs one of above (deg), below (deg) and is (on or off); give exactly one',
      },
    )
    .describe('the step ends when this holds');

  const cueStep = z
    .strictObject({
      name: name('step').optional().describe('so that another step can come after this one'),
      at: atLeast0(
        'seconds',
        'start after the start of the cue, or after the end of the step in after (s)',
      ).optional(),
      after: name('step').optional().describe('starts when that step has ended'),
      spreadS: positive(
        'seconds',
        'starts up to this much later, drawn again each time (s)',
      ).optional(),
      move: z
        .record(name('channel or group'), cueTarget)
        .optional()
        .describe('channels or groups, each to deg or a mark; they start and arrive together'),
      pose: name('pose').optional(),
      overS: positive(
        'seconds',
        'time for the move (s); as fast as the limits allow without it',
      ).optional(),
      ease: ease.optional(),
      colour: z
        .record(name('channel'), z.string())
        .optional()
        .describe('rgb channels, each to a CSS colour'),
      dim: z
        .record(name('channel'), z.number().min(0).max(1))
        .optional()
        .describe('lamps, each to 0..1'),
      fadeS: atLeast0('seconds', 'time for the fade (s)').optional(),
      switch: z.record(name('channel'), onOff).optional().describe('relays, each on or off'),
      forS: positive('seconds', 'switch back after this time (s)').optional(),
      until: until.optional(),
      cue: name('cue').optional().describe('runs another cue as part of this one'),
      choose: z
        .array(name('cue'))
        .min(2)
        .optional()
        .describe('runs one of these cues, drawn again each time'),
      times: z
        .union([z.int().min(1).max(10_000), z.literal('until stopped')], {
          error: 'is not a number of times; give a whole number, or until stopped',
        })
        .optional()
        .describe('how often the cue in cue or choose runs'),
    })
    .refine(({ at, after }) => at !== undefined || after !== undefined, {
      error: 'does not say when; give at (s), or after and the name of a step',
    });

  const cueSteps = z.array(cueStep).min(1);
  const cue = z.union(
    [
      cueSteps,
      z.strictObject({
        clash: z
          .enum(['refuse', 'take over'], {
            error: 'is neither refuse nor take over; write refuse or take over',
          })
          .default('refuse')
          .describe('what happens when another running cue uses the same channel'),
        seed: z
          .int()
          .optional()
          .describe('for what is drawn at random; the name of the cue without it'),
        steps: cueSteps,
      }),
    ],
    { error: 'is not a cue; give a list of steps, or { clash, seed, steps }' },
  );

  const idle = z
    .strictObject({
      seed: z.int().default(1).describe('for what is drawn at random'),
      plays: z
        .array(
          z.strictObject({
            cue: name('cue'),
            everyS: z
              .tuple([z.number().positive(), z.number().positive()])
              .describe('pause before it plays again: shortest, longest (s)'),
          }),
        )
        .min(1),
    })
    .describe('background behaviour: small cues at random times, giving way to everything else');

  const inputPin = z.strictObject({
    board: name('board'),
    pin,
    normallyClosed: z.boolean().default(false).describe('active when the contact opens'),
    debounceMs: atLeast0('milliseconds', 'how long the contact must be steady (ms)').default(30),
  });

  const trigger = z
    .strictObject({
      input: inputPin.optional().describe('a button, reed or motion sensor: contact to ground'),
      daily: z
        .string()
        .regex(/^([01]\d|2[0-3]):[0-5]\d(:[0-5]\d)?$/, {
          error: 'is not a time of day; give HH:MM, quoted',
        })
        .optional()
        .describe('local time of day, HH:MM or HH:MM:SS'),
      start: z.literal(true).optional().describe('once, when the daemon starts'),
      osc: z
        .string()
        .regex(/^\/[^\s#*,?[\]{}]+$/, {
          error: 'is not an OSC address; give one such as /owl/wake',
        })
        .optional()
        .describe('an OSC 1.0 message to this address'),
      cue: name('cue'),
      unattended: z
        .boolean()
        .default(false)
        .describe('may wake the parked prop with nobody in control; it parks again after the cue'),
    })
    .refine(
      ({ input, daily, start, osc }) =>
        [input, daily, start, osc].filter((one) => one !== undefined).length === 1,
      { error: 'needs one of input, daily, start and osc; give exactly one' },
    );

  const guardAction = z.enum(['inhibit', 'stop'], {
    error: 'is neither inhibit nor stop; write inhibit or stop',
  });

  const guard = z.strictObject({
    board: name('board'),
    pin,
    normallyClosed: z
      .boolean()
      .default(true)
      .describe('the contact opens when the guard is broken; a wire break then counts as broken'),
    action: guardAction
      .default('stop')
      .describe(
        'while it is broken: inhibit lets nothing wake or be moved, but the prop still parks; stop also stops what moves, parking included',
      ),
    category: z
      .union([z.literal(0), z.literal(1)], {
        error: 'is not a stop category of a guard; use 0 (drop power) or 1 (decelerate, then drop)',
      })
      .default(1)
      .describe('stop category, for action: stop'),
  });

  const park = z.strictObject({
    stages: z
      .array(z.array(name('channel')))
      .default([])
      .describe(
        'channels that park together, stage after stage; those not named park last, together',
      ),
    deadlineS: positive('seconds', 'past it, power is dropped: stop category 0 (s)').default(10),
  });

  const propFile = z
    .strictObject({
      sinew: z.literal(1, { error: 'is not a known version of this file format; write sinew: 1' }),
      name: z.string().min(1).max(100).describe('the name of the prop'),
      link: z
        .strictObject({
          timeoutMs: z
            .number()
            .min(100)
            .max(60_000)
            .default(500)
            .describe('silence that counts as a lost link (ms)'),
          onLoss: z
            .enum(['park', 'hold-then-park'], {
              error: 'is neither park nor hold-then-park; write park or hold-then-park',
            })
            .default('park'),
          holdS: positive('seconds', 'how long to hold before parking (s)')
            .max(300, { error: 'is above 300; give seconds, 300 or less' })
            .optional(),
        })
        .default({ timeoutMs: 500, onLoss: 'park' }),
      stop: z
        .strictObject({
          deadlineS: positive('seconds', 'a stop of category 1 drops the power after this time (s)')
            .max(10, { error: 'is above 10; give seconds, 10 or less' })
            .default(1),
          holdS: positive('seconds', 'a stop of category 2 holds for at most this time (s)')
            .max(3600, { error: 'is above 3600; give seconds, 3600 or less' })
            .default(60),
        })
        .default({ deadlineS: 1, holdS: 60 })
        .describe('how long a stop may take, and hold, until its category is 0'),
      stopInput: z
        .strictObject({
          board: name('board'),
          pin,
          normallyClosed: z.boolean().default(true).describe('a wire break then counts as pressed'),
          category: z
            .union([z.literal(0), z.literal(1), z.literal(2)], {
              error: 'is not a stop category; use 0, 1 or 2',
            })
            .default(1),
        })
        .optional()
        .describe(
          'a stop button on a pin: an addition to a switch that cuts the power, never a substitute',
        ),
      lockoutInput: z
        .strictObject({
          board: name('board'),
          pin,
          normallyClosed: z
            .boolean()
            .default(true)
            .describe(
              'the contact opens when the key is turned; a wire break then counts as locked',
            ),
        })
        .optional()
        .describe('a key switch for "hands in the prop": while it is on nothing wakes or moves'),
      guards: z
        .record(name('guard'), guard)
        .default({})
        .describe('mats, beams and doors; a guard inhibits or stops, and never starts anything'),
      boards: z.record(name('board'), board),
      rails: z.record(name('rail'), rail).default({}),
      connectors: z.record(name('connector'), connector).default({}),
      wires: z.array(trunk).default([]).describe("wires that are no channel's own"),
      channels: z.record(name('channel'), channel),
      groups: z.record(name('group'), z.array(name('channel')).min(1)).default({}),
      poses: z.record(name('pose'), z.record(name('channel'), poseValue)).default({}),
      cues: z.record(name('cue'), cue).default({}),
      idle: z.record(name('idle'), idle).default({}),
      osc: z
        .strictObject({
          port: z.int().min(1).max(65_535).describe('UDP port'),
          host: z.string().default('127.0.0.1').describe('address to listen on'),
        })
        .optional()
        .describe('where OSC messages come in; they carry no token'),
      triggers: z.record(name('trigger'), trigger).default({}),
      park: park.default({ stages: [], deadlineS: 10 }),
      flash: flash.optional(),
    })
    .describe('Sinew prop file');

  return {
    board,
    servo,
    load,
    relay,
    rgb,
    lamp,
    requirement,
    wire,
    trunk,
    connector,
    rail,
    cueStep,
    cue,
    idle,
    trigger,
    channel,
    guardAction,
    propFile,
  };
}

type Schemas = ReturnType<typeof make>;

/** Made when first asked for: a prop that is known already is started without. */
export const schemas = lazily(make);

export type GuardAction = z.output<Schemas['guardAction']>;
export type Prop = z.output<Schemas['propFile']>;
export type { Board };
export type Channel = z.output<Schemas['channel']>;
export type ServoChannel = z.output<Schemas['servo']>;
export type Load = z.output<Schemas['load']>;
export type RelayChannel = z.output<Schemas['relay']>;
export type RgbChannel = z.output<Schemas['rgb']>;
export type LampChannel = z.output<Schemas['lamp']>;
export type Requirement = z.output<Schemas['requirement']>;
export type Wire = z.output<Schemas['wire']>;
export type Trunk = z.output<Schemas['trunk']>;
export type Connector = z.output<Schemas['connector']>;
export type Rail = z.output<Schemas['rail']>;
export type CueStep = z.output<Schemas['cueStep']>;
export type Cue = z.output<Schemas['cue']>;
export type Idle = z.output<Schemas['idle']>;
export type Trigger = z.output<Schemas['trigger']>;

export { longCue } from './long-cue.ts';
