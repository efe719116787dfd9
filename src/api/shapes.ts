import type { ChannelKind } from '../prop/kinds/channel.ts';
import { SYMPTOMS } from '../prop/symptoms.ts';
import { EVENT_NAMES } from '../shared/journal.ts';
import type { Pieces } from './pieces.ts';

const CHANNEL_KINDS = [
  'servo',
  'relay',
  'rgb',
  'lamp',
  'sound',
] as const satisfies readonly ChannelKind[];

/** Results, and parts of them, that are larger or that more than one method and notification has. */
export function makeShapes({ z, want, value, range, pulseUs, amps, changed }: Pieces) {
  const channelInfo = z.object({
    kind: z.enum(CHANNEL_KINDS),
    value: value
      .nullable()
      .describe('as commanded; null of a relay or light whose board cannot be reached'),
    target: value,
    measuredDeg: z
      .number()
      .optional()
      .describe('servo: measured angle (deg); absent where nothing measures it now'),
    flags: z.array(z.string()),
    rail: z.string().optional(),
    groups: z.array(z.string()),
    place: z.string().optional().describe('where in the prop it sits, in words'),
    park: z.object({ to: value, then: z.enum(['hold', 'release']).optional() }),
    wire: z.string().optional().describe('label of its wire'),
    limitsDeg: range('soft limits (deg), low then high').optional(),
    envelopeUs: range('pulse envelope (us), low then high').optional(),
    calibration: z.array(range('[pulse us, angle deg]')).optional(),
    linkage: z
      .object({
        groundMm: z.number(),
        hornMm: z.number(),
        couplerMm: z.number(),
        flapMm: z.number(),
        hornZeroDeg: z.number(),
        flapZeroDeg: z.number().optional(),
        crossed: z.boolean(),
        hornSpeedDegS: z.number().optional(),
      })
      .optional()
      .describe('as in the prop file; the calibration then counts degrees of the horn'),
    linkageFigures: z
      .object({
        transmissionDeg: z.number().describe('least angle between rod and flap arm (deg)'),
        transmissionAtDeg: z.number().describe('where the flap is then (deg)'),
        hornSpeedDegS: z.number().describe('fastest turn of the horn at the speed limit (deg/s)'),
        advantage: range('torque on the flap for 1 N m on the horn, least and most'),
      })
      .optional(),
    torque: z
      .object({
        worstNm: z.number().describe('the most that the servo has to bring (N m)'),
        atDeg: z.number().describe('where that is (deg)'),
        accelerationNm: z.number().describe('the part of it that accelerates (N m)'),
        stallNm: z.number().optional().describe('stall torque of the servo (N m)'),
        margin: z.number().optional().describe('stall torque by worst torque'),
      })
      .optional(),
    edge: z
      .object({
        armMm: z.number(),
        limitN: z.number().optional().describe('the most that the maker allows (N)'),
        stallN: z.number().optional().describe('with the stall torque and the weight (N)'),
        atDeg: z.number().optional().describe('where that is most (deg)'),
        pushN: z.number().optional().describe('from here on it backs off (N)'),
        pushS: z.number().optional().describe('after so long (s)'),
      })
      .optional()
      .describe(
        'the force at the edge of the flap, computed; what a moving mass adds is not in it',
      ),
    marks: z.record(z.string(), z.number()).optional().describe('marks by name (deg)'),
    speedDegS: z.number().optional().describe('speed limit (deg/s)'),
    accelDegS2: z.number().optional().describe('acceleration limit (deg/s2)'),
    jerkDegS3: z.number().optional().describe('jerk limit (deg/s3)'),
    freeRunning: z
      .object({ risingA: z.number(), fallingA: z.number() })
      .optional()
      .describe(
        'the most that it draws running free towards rising and falling angles (A); it counts while `measured` has its day',
      ),
    pulseUs: pulseUs.optional(),
    pushing: z.boolean().optional().describe('it pushes against something and buzzes'),
    pulseMs: z
      .number()
      .optional()
      .describe('relay with a momentary contact: how long it closes (ms)'),
    duty: z.object({ maxOnS: z.number(), restS: z.number() }).optional().describe('seconds'),
    vapour: z
      .object({
        tankMl: z.number(),
        rateMlPerH: z.number(),
        runTimeS: z.number().describe('how long the tank lasts, on all the time (s)'),
        showTimeS: z.number().optional().describe('how long it lasts at full duty (s)'),
      })
      .optional(),
    fadeS: z.number().optional().describe('least time for a full-scale change (s)'),
    sounds: z.array(z.string()).optional().describe('sound: what it can play'),
    ceiling: z.number().optional().describe('sound: the loudest amplitude, 0 to 1'),
    fadeOutS: z.number().optional().describe('sound: least time from full volume to silence (s)'),
    output: z
      .object({
        board: z.string(),
        pin: z.number().optional(),
        pins: z.array(z.number()).optional().describe('of red, green and blue'),
        activeLow: z.boolean().optional(),
        common: z.enum(['anode', 'cathode']).optional(),
        pull: z.enum(['up', 'down']).optional(),
      })
      .optional()
      .describe('as in the prop file'),
    measured: z
      .record(z.string(), z.string().nullable())
      .optional()
      .describe(
        'what can be measured on the prop itself: the day on which it was, or null: not measured, or another since',
      ),
    terminals: z
      .object({ common: z.string(), open: z.string().optional(), closed: z.string().optional() })
      .optional()
      .describe('relay: the terminals of its contact'),
    whiteBalance: z
      .array(z.number())
      .length(3)
      .optional()
      .describe('rgb: gains of red, green and blue, 1 without a white balance'),
    led: z
      .object({
        currentA: z.number().describe('current that each LED may have (A)'),
        spreadV: z.number().describe('how far forward voltages differ from nominal (V)'),
        supplyV: z.number().optional().describe('supply of the LED (V), where the file gives it'),
        forwardV: z.union([z.number(), z.array(z.number())]).describe('V; of an rgb light, three'),
        resistorOhm: z
          .union([z.number(), z.array(z.number())])
          .optional()
          .describe('series resistor (ohm); of an rgb light, three'),
      })
      .optional()
      .describe('light: its LEDs as in the prop file'),
    ledSupplyV: z
      .number()
      .optional()
      .describe('light: the supply of its LEDs (V), by the file or its rail'),
  });

  const channelState = z.object({
    value: value
      .nullable()
      .describe('as commanded; null of a relay or light whose board cannot be reached'),
    target: value,
    flags: z.array(z.string()),
    amps: z.number().describe('estimated draw (A)'),
    pulseUs: z.number().optional().describe('servo: pulse width (us), 0 while released'),
    pushing: z.boolean().optional().describe('servo: it pushes against something and buzzes'),
    measuredDeg: z
      .number()
      .optional()
      .describe('servo: measured angle (deg); absent where nothing measures it now'),
    measuredA: z.number().optional().describe('servo: measured current (A)'),
    offAtS: z.number().optional().describe('relay: when it opens by itself, as "t" counts (s)'),
    readyAtS: z
      .number()
      .optional()
      .describe('relay: when it has rested and may close again, as "t" counts (s)'),
  });

  const rail = z.object({
    amps: z.number().describe('estimated draw (A)'),
    measuredA: z
      .number()
      .optional()
      .describe('measured draw (A); absent where nothing measures it now'),
    measuredV: z
      .number()
      .optional()
      .describe('measured voltage (V); absent where nothing measures it now'),
    battery: z
      .object({
        left: z
          .number()
          .optional()
          .describe('the share that is left, 0 to 1; absent where it is not known'),
        by: z
          .enum(['curve', 'counted'])
          .optional()
          .describe('how that is known: by its curve, or counted since it was full'),
        meanA: z.number().describe('mean draw over the last minutes (A)'),
        draw: z.enum(['measured', 'estimated']).describe('whether that is measured'),
        leftH: z.number().optional().describe('how long it lasts at that draw, an estimate (h)'),
        fullH: z.number().optional().describe('how long it would last from full (h)'),
        expectedV: z
          .number()
          .optional()
          .describe('the voltage that it should have under this load, an estimate (V)'),
      })
      .optional()
      .describe('of a battery that feeds the rail directly'),
    limitA: z.number().describe('the most current that the supply can give (A)'),
  });

  const senseState = z.object({
    kind: z.enum(['current', 'volts', 'position', 'level', 'contact']),
    value: z
      .number()
      .nullable()
      .describe(
        'in its unit, filtered; of a level 0 to 1, of a contact 1 where it is closed; null while it is not measured',
      ),
    unit: z.string().describe('A, V, deg, or empty'),
    raw: z.number().optional().describe('the last reading of the board (A or V)'),
    ageS: z.number().optional().describe('how old that is (s)'),
    fault: z.string().optional().describe('why it is not measured'),
    warning: z.string().optional().describe('the limit that it has passed, in words'),
    low: z.string().optional().describe('it is below parkBelow: the prop parks, and does not wake'),
  });

  const senseInfo = senseState.extend({
    board: z.string(),
    input: z.number().optional(),
    pin: z.number().optional(),
    rail: z.string().optional().describe('the rail that it measures'),
    channel: z.string().optional().describe('the channel that it measures'),
    limits: z.object({
      parkBelow: z.number().optional(),
      warnBelow: z.number().optional(),
      dipBelow: z.number().optional(),
      warnAbove: z.number().optional(),
      pushAboveA: z.number().optional(),
    }),
    forS: z.number().describe('a limit counts once it has been passed for so long (s)'),
  });

  const cause = z.object({
    code: z.string().describe('a stable dotted word'),
    who: z.string().describe("the client's name, or prop when it acted by itself"),
    words: z.string(),
  });

  const guardInfo = z.object({
    name: z.string(),
    action: z.enum(['inhibit', 'stop']).describe('what it does while it is broken'),
  });

  const symptom = z.enum(SYMPTOMS, want(`one of ${SYMPTOMS.join(', ')}`));

  const loomWire = z.object({
    label: z.string(),
    channel: z
      .string()
      .optional()
      .describe('absent for a wire that belongs to none, such as a feed'),
    rail: z.string().optional().describe('the rail that it carries'),
    gaugeAwg: z.number().optional().describe('American wire gauge'),
    sectionMm2: z.number().optional().describe('cross-section (mm2)'),
    lengthM: z.number().optional().describe('length, one way (m)'),
    place: z
      .string()
      .optional()
      .describe('where in the prop its channel sits; wires to one place run together'),
    cores: z.array(
      z.object({ role: z.string(), colour: z.string(), from: z.string(), to: z.string() }),
    ),
  });

  const measuringPart = z.object({
    sense: z.string(),
    board: z.string(),
    rail: z.string().optional().describe('the rail whose whole current or whose voltage it is'),
    channel: z.string().optional().describe('the channel whose current alone flows through it'),
    ohm: z.number().describe('its resistance (ohm)'),
    part: z.string().describe('what it is, in words'),
    from: z.string().describe('its end at the supply; empty where the file does not say'),
    to: z.string().describe('its other end'),
  });

  const boardInfo = z.object({
    driver: z.string(),
    header: z.boolean().describe('whether its pins are those of the 40-pin header'),
    pins: z.array(
      z.object({
        pin: z.number().describe('GPIO number on the header, or output number of the chip'),
        use: z.string().optional().describe('what hangs on it; absent when it is free'),
        reserved: z.string().optional().describe('what the board itself keeps it for'),
      }),
    ),
  });

  const trace = z.object({
    channel: z.string(),
    kind: z.enum(CHANNEL_KINDS),
    symptom: z.enum(SYMPTOMS),
    symptoms: z.array(z.enum(SYMPTOMS)).readonly().describe('all that its kind can have'),
    rail: z.string().optional(),
    fuse: z.string().optional().describe('connector of the fuse'),
    through: z
      .array(z.string())
      .optional()
      .describe('shunts that its current flows through, in words'),
    wires: z.array(z.string()).describe('labels, from the supply on'),
    connectors: z.array(z.string()),
    cautions: z.array(z.string()).readonly(),
    steps: z.array(
      z.object({
        power: z.enum(['on', 'off']),
        check: z.string(),
        expect: z.string(),
        reading: z
          .object({
            unit: z.enum(['V', 'ohm', 'A']),
            low: z.number(),
            high: z.number().nullable().describe('null where more is as good'),
            between: z.array(z.string()).describe('ends to measure between'),
          })
          .optional(),
        otherwise: z.string(),
      }),
    ),
    gaps: z.array(z.string()).describe('what the prop file would have to tell for more'),
  });

  const cueState = z.object({
    running: z.boolean(),
    durationS: z
      .number()
      .nullable()
      .describe(
        'longest time it takes if nothing delays it (s); null when it goes on until stopped',
      ),
    startedS: z.number().optional().describe('when it was started, as "t" of a state counts (s)'),
  });

  const cueUses = z.object({
    channels: z
      .array(z.string())
      .describe(
        'what it and the cues within it may command; it cannot run beside another on these',
      ),
    takesOver: z.boolean().describe('it ends the cues that use its channels, and is not refused'),
    closes: z.array(z.string()).describe('relays that it switches on'),
    needs: z
      .array(
        z.object({
          channel: z.string(),
          requires: z.object({
            channel: z.string(),
            above: z.union([z.number(), z.string()]).optional(),
            below: z.union([z.number(), z.string()]).optional(),
            is: z.enum(['on', 'off', 'parked']).optional(),
          }),
        }),
      )
      .describe('what its channels require of others that it does not command itself'),
  });

  const journalEntry = z.object({
    seq: z
      .number()
      .describe(
        'counts up, across restarts of the daemon too; after a crash some numbers are left out',
      ),
    time: z.string().describe('wall-clock time, ISO 8601'),
    who: z.string(),
    what: z
      .union([z.enum(EVENT_NAMES), z.templateLiteral([z.string(), '.', z.string()])])
      .describe('an event, or the method that was carried out'),
    text: z.string(),
    values: z.record(z.string(), z.unknown()).optional(),
    tick: z
      .number()
      .describe(
        'tick that carried it out, or in which it happened; "tick" in "state" counts the same',
      ),
    count: z
      .number()
      .optional()
      .describe('how many like it came at short intervals; this is the last'),
    ticks: z
      .array(z.number())
      .optional()
      .describe('the ticks of all that it stands for, where these are commands'),
  });

  const wearCounts = z.object({
    cycles: z.number().describe('servo: there and back, each turn counts a half'),
    travelDeg: z.number().describe('servo: all the way that it went (deg)'),
    starts: z.number().describe('servo: how often it began to move'),
    onS: z.number().describe('pulses sent, contact closed, or lit (s)'),
    pushingS: z.number().describe('servo: pushing against something (s)'),
    closures: z.number().describe('relay: how often it closed'),
    lightS: z.number().describe('light: time lit, weighted by its level 0 to 1 (s)'),
  });

  const wearDone = z.object({
    time: z.string().describe('wall-clock time, ISO 8601'),
    who: z.string(),
    note: z.string(),
    counts: wearCounts,
  });

  const wearLimit = z.object({
    of: z.enum(['cycles', 'starts', 'closures', 'hours']),
    count: z.number().describe('since it was maintained last, or since counting began'),
    limit: z.number().describe('at this it is to be maintained'),
  });

  const wearInfo = z.object({
    name: z.string(),
    kind: z.string(),
    counts: wearCounts,
    done: wearDone.optional().describe('when it was maintained last'),
    sinceDone: wearCounts.optional(),
    maintain: z
      .array(wearLimit)
      .optional()
      .describe('when to maintain it: maintainEvery of the prop file, or of its part'),
    due: z.boolean().optional().describe('maintenance is due: one of these is reached'),
    drift: z
      .object({
        byDeg: z.number().describe('now, or on the last day with enough rests (deg)'),
        days: z.array(z.object({ day: z.string(), byDeg: z.number() })),
      })
      .optional()
      .describe(
        'servo with a measured angle: how much further from the commanded angle it rests than when its record began; of the last 30 days with enough rests',
      ),
    gone: z.string().optional().describe('since when it is no longer in the prop file'),
  });

  const incidentHead = z.object({
    seq: z.number().describe('the number of the entry of the journal that it began with'),
    time: z.string().describe('wall-clock time, ISO 8601'),
    who: z.string(),
    what: journalEntry.shape.what,
    text: z.string(),
    line: z.string().describe('the cause, who, and what stood where, in one line'),
    entries: z.array(journalEntry).describe('of the journal, before and after it'),
  });

  const series = z
    .union([z.number(), z.null(), z.array(z.number().nullable())])
    .describe('at each time of "t", or one value where it stayed the same; null: not measured');

  const incidentBody = z.object({
    t: z
      .array(z.number())
      .describe('when it was looked at, about ten times a second: 0 is the event (s)'),
    condition: z.array(z.string()),
    linkMs: z
      .array(z.number().nullable())
      .describe('since the link of who had control last showed that it works both ways (ms)'),
    channels: z.record(
      z.string(),
      z.object({
        value: series.describe('deg; of a relay 0 or 1; of a light its level, 0 to 1'),
        target: series.optional().describe('servo: where it was to go (deg)'),
        measuredDeg: series.optional(),
        measuredA: series.optional(),
      }),
    ),
    rails: z.record(
      z.string(),
      z.object({
        amps: series.describe('estimated draw (A)'),
        measuredA: series.optional(),
        measuredV: series.optional(),
      }),
    ),
    senses: z.record(z.string(), z.object({ unit: z.string(), value: series })),
  });

  const incident = incidentHead.extend({ body: incidentBody });

  const changeResult = z.object({
    version: z.string().describe('the version that was asked for'),
    changed,
    pending: z.boolean().describe('it waits until the prop is parked'),
    problem: z
      .string()
      .optional()
      .describe('for partly: it was written, is still faulty, and is not in use'),
  });

  const lockInfo = z.object({
    by: z
      .string()
      .describe(
        'the client that has set it, the key switch, or "nobody knows who" where the saved state was damaged',
      ),
    reason: z.string(),
    time: z.string().describe('wall-clock time, ISO 8601'),
  });

  const lockoutInfo = lockInfo.extend({
    also: z.array(lockInfo).optional().describe('other locks'),
  });
  const lockoutResult = z.object({
    lockout: lockoutInfo.nullable().describe('who has hands in the prop; null when nobody has'),
    unsaved: z.string().optional().describe('it holds now, but would not outlast a restart: why'),
  });

  const finding = z.object({
    severity: z.enum(['error', 'warning', 'note']),
    line: z.number(),
    column: z.number(),
    path: z.string(),
    wrong: z.string(),
    right: z.string(),
  });

  const budget = z.object({
    rails: z.array(
      z.looseObject({
        name: z.string(),
        volts: z.number().describe('nominal voltage (V)'),
        limitA: amps('what the supply may be asked for'),
        idleA: amps('all at rest'),
        movingA: amps('all moving or fully on'),
        stallA: amps('the same with every servo stalled'),
        peakA: amps('all moving, or what the daemon lets through'),
        wantedA: amps('the supply to look for'),
      }),
    ),
    channels: z.array(
      z.object({
        name: z.string(),
        rail: z.string(),
        movingA: amps('moving or fully on'),
        stallA: amps('stalled'),
        along: z
          .enum(['the loom', 'its own wire'])
          .optional()
          .describe('what the voltages are computed along; absent where the file does not tell'),
        movingV: z.number().optional().describe('voltage there while it moves (V)'),
        stallV: z.number().optional().describe('voltage there while it is stalled (V)'),
        dropV: z.number().optional().describe('lost on the way while it moves (V)'),
        dropShare: z.number().optional().describe("the same, as a share of the rail's voltage"),
      }),
    ),
    shunts: z
      .array(
        z.looseObject({
          board: z.string(),
          sense: z.string(),
          rail: z.string().optional(),
          channel: z.string().optional(),
          ohm: z.number().describe('ohm'),
          movingA: amps('while all moves as the limit allows'),
          dropV: z.number().describe('lost in it then (V)'),
          watts: z.number().describe('heats it then (W)'),
          ratedW: z.number().optional().describe('its rating (W)'),
        }),
      )
      .optional()
      .describe('shunts of meters'),
    findings: z.array(finding),
  });

  const cueLoad = z.object({
    cue: z.string(),
    durationS: z.number().describe('s'),
    cutShort: z.boolean().describe('it goes on until stopped; only so much was computed'),
    rails: z.array(
      z.object({
        name: z.string(),
        limitA: amps('limit'),
        peakA: amps('peak'),
        peakAtS: z.number().describe('when (s)'),
        worstA: amps('if every servo that moves then were stalled'),
        worstAtS: z.number().describe('when (s)'),
        meanA: amps('mean'),
        amps: z
          .array(z.number())
          .describe('at the start, then the farthest value in each column of equal time (A)'),
      }),
    ),
  });

  /** Place of a value in the prop file. */
  const editPath = z.array(z.union([z.string(), z.number()]));

  const findingInfo = z.object({
    code: z.string().optional().describe('a stable dotted word'),
    level: z.enum(['error', 'warning', 'note']),
    line: z.number().describe('counts from 1'),
    column: z.number().describe('counts from 1'),
    path: z.string().describe('place in the file, such as channels.beak.marks'),
    message: z.string().describe('what is wrong; what would be right'),
    remedy: z
      .object({ path: editPath, value: z.unknown() })
      .optional()
      .describe('the one sure remedy, as an edit for prop.apply, where there is one'),
  });

  /** How the prop file on the disk differs from the prop in use. */
  const fileNews = z.object({
    changed,
    pending: z
      .literal(true)
      .optional()
      .describe('the file on the disk is valid; it takes effect when the prop is parked'),
    problem: z
      .string()
      .optional()
      .describe('why the file on the disk is not in use, with the remedy'),
    findings: z
      .array(findingInfo)
      .optional()
      .describe('what is wrong with the file on the disk; the first of them'),
  });

  return {
    editPath,
    channelInfo,
    channelState,
    rail,
    senseState,
    senseInfo,
    cause,
    guardInfo,
    symptom,
    loomWire,
    measuringPart,
    boardInfo,
    trace,
    cueState,
    cueUses,
    journalEntry,
    wearCounts,
    wearDone,
    wearInfo,
    wearLimit,
    incidentHead,
    incidentBody,
    incident,
    changeResult,
    lockInfo,
    lockoutInfo,
    lockoutResult,
    finding,
    budget,
    cueLoad,
    findingInfo,
    fileNews,
  };
}
