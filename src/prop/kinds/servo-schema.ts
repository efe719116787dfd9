import type * as z from 'zod';
import type { Parts } from '../schema-parts.ts';

/** The schema of a servo in the prop file. */
export function servoSchema({
  z,
  name,
  positive,
  atLeast0,
  angle,
  pin,
  position,
  common,
  measured,
  maintainEvery,
}: Parts) {
  const calibrationPoint = z.tuple([z.number(), z.number()], {
    error: 'is not a calibration point; give [pulse us, angle deg]',
  });

  const link = (doc: string) =>
    z
      .number({ error: 'is not a number; give millimetres' })
      .min(0.1, { error: 'is below 0.1 mm; give millimetres' })
      .max(10_000, { error: 'is above 10 m; give millimetres' })
      .describe(doc);

  /** From the servo's horn to the flap's hinge; README.md has a drawing of its angles. */
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
        .describe(
          "where the calibration says 0, the rod crosses the line shaft to hinge; where neither way does, the flap's pin is on the shaft's side of a ruler from the horn's pin to the hinge",
        ),
      hornSpeedDegS: positive(
        'deg/s',
        'the fastest that the servo turns its horn (deg/s)',
      ).optional(),
    })
    .describe(
      'four-bar linkage from horn to flap: the calibration then has degrees of the horn, everything else degrees of the flap',
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
        'moment of inertia about the hinge (kg m2); default: an even plate, m (2 centreMm)2 / 3; with centreMm 0 give it',
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
    .describe('what the servo has to move, to work out the torque');

  return z.strictObject({
    kind: z.literal('servo'),
    output: z
      .strictObject({ board: name('board'), pin })
      .describe('the board and the pin of its pulses'),
    ...common,
    calibration: z
      .array(calibrationPoint)
      .min(2, { error: 'has fewer than two points; give two or more, each [pulse us, angle deg]' })
      .describe(
        'points [pulse us, angle deg], two or more: from point to point the pulse keeps rising or keeps falling, and so does the angle; between two points it is a straight line',
      ),
    maintainEvery: maintainEvery(['cycles', 'starts', 'hours']),
    measured: measured({
      calibration: 'pulse against true angle',
      freeRunning: 'current running free',
    }),
    freeRunning: z
      .strictObject({
        risingA: positive('amperes', 'towards rising angles (A)'),
        fallingA: positive('amperes', 'towards falling angles (A)'),
      })
      .optional()
      .describe(
        'the most that it draws while it runs free between its limits: measured on the prop, and counted only while it is measured',
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
        movingA: atLeast0(
          'amperes',
          'current while moving (A); no less than idleA; default: idleA',
        ).optional(),
        stallA: atLeast0(
          'amperes',
          'current when stalled, and for a moment when it starts (A); no less than movingA; default: movingA',
        ).optional(),
      })
      .optional()
      .describe('what it takes from its rail'),
    linkage: linkage.optional(),
    stallNm: positive(
      'newton metres',
      'stall torque at the voltage of its rail (N m); 1 kgf cm is 0.098 N m',
    ).optional(),
    stallKgfCm: positive(
      'kgf cm',
      'the same in kgf cm, as data sheets have it; 1 kgf cm is 0.0980665 N m',
    ).optional(),
    rated: z
      .strictObject({
        volts: positive('volts', 'at this voltage (V)'),
        speedDegS: positive('deg/s', 'speed without load (deg/s); 0.15 s/60 deg is 400').optional(),
        stallNm: positive('newton metres', 'stall torque (N m)').optional(),
        stallKgfCm: positive('kgf cm', 'stall torque (kgf cm)').optional(),
      })
      .optional()
      .describe('what the data sheet says of the servo, at the voltage that it says it for'),
    load: load.optional(),
    edge: z
      .strictObject({
        armMm: link('hinge to the edge that can press on something (mm)'),
        limitN: positive('newtons', 'the most that it is to press with there (N)').optional(),
      })
      .optional()
      .describe('where it can pinch: from the torque follows the force there'),
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
}

export type ServoChannel = z.output<ReturnType<typeof servoSchema>>;
