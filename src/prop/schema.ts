import * as z from 'zod';
import { type Board, boardSchemas, DRIVER_NAMES } from '../boards/registry.ts';
import { lazily } from '../shared/lazily.ts';
import { SOUND_NAME } from '../sound/limits.ts';
import { channelSchema } from './kinds/channel.ts';
import { PICTURE_NAME } from './picture/name.ts';
import { makeParts } from './schema-parts.ts';
import { senseSchema } from './senses-schema.ts';
import type { WithSounds } from './sound-file.ts';
import { cueStepSchema } from './steps.ts';
import type { TakeFile } from './take/take-files.ts';
import { TAKE_NAME } from './take/take-text.ts';

/**
 * The prop file: one schema gives the type, the check, the messages and the documentation. A message
 * continues after the value it is about: `is not above 0; give volts`. Rules that need several places of
 * the file are in lint.ts.
 */

function make() {
  const oneOf = (words: readonly string[]) => `${words.slice(0, -1).join(', ')} or ${words.at(-1)}`;

  const parts = makeParts();
  const { name, positive, atLeast0, pin, position, end, wire, flash } = parts;

  // --- boards and rails -------------------------------------------------------------------------

  const board = z.discriminatedUnion(
    'driver',
    boardSchemas(parts.z, { name, pin, positive, atLeast0, part: parts.part }),
    {
      error: `is not a driver; use ${oneOf(DRIVER_NAMES)}`,
    },
  );

  const rail = z.strictObject({
    volts: positive('volts', 'supply voltage (V)'),
    limitA: positive('amperes', 'the most current that the supply can give (A)'),
    supply: z
      .strictObject({
        plus: end.describe('its plus terminal, such as PS1-1'),
        return: end.describe('its return terminal, such as PS1-2'),
      })
      .optional()
      .describe('terminals of the supply, where its wires start'),
    fuse: z
      .strictObject({
        ratingA: positive('amperes', 'rated current (A)'),
        standard: z
          .enum(['ISO 8820', 'IEC 60127'], {
            error: 'is not a fuse standard; write ISO 8820 (blade) or IEC 60127 (cartridge)',
          })
          .default('ISO 8820')
          .describe('ISO 8820: blade; IEC 60127: cartridge'),
        from: end.describe('the side of the supply'),
        to: end.describe('the side of the load'),
      })
      .optional()
      .describe('the fuse of this rail, close to the supply'),
    battery: z
      .strictObject({
        capacityAh: positive('ampere-hours', 'rated capacity (Ah)'),
        ratedH: positive('hours', 'discharge time at which the capacity is rated (h)').default(20),
        peukert: z
          .number({ error: 'is not a number; give the exponent, such as 1.2' })
          .min(1, { error: 'is below 1; give the exponent of Peukert, 1 or more' })
          .max(2, { error: 'is above 2; give the exponent of Peukert, such as 1.2' })
          .default(1)
          .describe("Peukert's exponent; 1 counts only ampere-hours"),
        wantedH: positive('hours', 'how long it must last (h)').optional(),
        fullV: positive('volts', 'voltage when full (V)').optional(),
        nominalV: positive('volts', 'nominal voltage (V)').optional(),
        emptyV: positive('volts', 'voltage at which it must not be used any more (V)').optional(),
        maxA: positive('amperes', 'current that it may give all the time (A)').optional(),
        internalOhm: positive(
          'ohms',
          'internal resistance, with the wires up to where its voltage is measured (ohm)',
        ).optional(),
        curve: z
          .array(
            z.tuple(
              [
                positive('volts', 'voltage without a load (V)'),
                z
                  .number({ error: 'is not a share; give 0 (empty) to 1 (full)' })
                  .min(0, { error: 'is below 0; give 0 (empty) to 1 (full)' })
                  .max(1, { error: 'is above 1; give 0 (empty) to 1 (full)' })
                  .describe('the share that is left, 0 to 1'),
              ],
              { error: 'is not a point; give [V, share left]' },
            ),
          )
          .min(2, { error: 'has fewer than 2 points; give 2 or more' })
          .optional()
          .describe(
            'its discharge curve without a load, from the data sheet of its cells: [V, share left]; both rise or both fall',
          ),
      })
      .optional()
      .describe('the battery that feeds this rail'),
  });

  // --- channels ---------------------------------------------------------------------------------

  const connector = z
    .strictObject({
      name: z.string().min(1).max(64).optional().describe('what it is, in words'),
      board: name('board')
        .optional()
        .describe(
          'its cavities are the pins of this board: the 40-pin header, or the outputs of a pca9685',
        ),
      cavities: z.int().min(1).max(200).optional().describe('how many it has'),
      ratedA: positive('amperes', 'what one of its contacts may carry (A)').optional(),
      bridged: z
        .array(z.array(z.union([z.int(), z.string()])).min(2))
        .optional()
        .describe('cavities that are joined inside, e.g. by the bar of a terminal block'),
    })
    .describe('a connector or terminal block');

  /** A wire that is not a channel's own: a feed, a trunk or a load circuit. */
  const trunk = wire.extend({
    rail: name('rail').optional().describe('the rail that it carries'),
    channel: name('channel').optional().describe('the channel that it belongs to'),
  });

  const channel = channelSchema(parts);

  // --- poses, cues, park ------------------------------------------------------------------------

  /** A value in a pose: deg, 0..1, a mark, on/off or a CSS colour, by the kind of the channel. */
  const poseValue = z.union([z.number(), z.string()], {
    error: 'is not a value for a pose; give a number, a mark, on/off or a colour',
  });

  const cueStep = cueStepSchema(parts);
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
          .describe('seed of the random choices; default: the name of the cue'),
        steps: cueSteps.describe('what it does, step by step'),
      }),
    ],
    { error: 'is not a cue; give a list of steps, or { clash, seed, steps }' },
  );

  const idle = z
    .strictObject({
      seed: z.int().default(1).describe('seed of the random choices'),
      plays: z
        .array(
          z.strictObject({
            cue: name('cue').describe('the cue that plays'),
            everyS: z
              .tuple([z.number().positive(), z.number().positive()])
              .describe('pause before it plays again: shortest, longest (s)'),
          }),
        )
        .min(1)
        .describe('the cues that play, each by itself'),
    })
    .describe('background behaviour: small cues at random times, giving way to everything else');

  const inputPin = z.strictObject({
    board: name('board'),
    pin,
    normallyClosed: z.boolean().default(false).describe('active when the contact opens'),
    debounceMs: atLeast0('milliseconds', 'how long the contact must be steady (ms)').default(30),
  });

  const oscAddress = z.string().regex(/^\/[^\s#*,?[\]{}]+$/, {
    error: 'is not an OSC address; give one such as /owl/wake',
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
      osc: oscAddress.optional().describe('an OSC 1.0 message to this address'),
      cue: name('cue').describe('the cue that it runs'),
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
        'while it is broken: with inhibit nothing can wake or be moved, but the prop still parks; with stop, everything that moves also stops, parking included',
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
      .array(z.array(name('channel or group')))
      .default([])
      .describe(
        'channels, or groups, that park together, stage after stage; those not named park last, together',
      ),
    deadlineS: positive(
      'seconds',
      'after this time, power is dropped: stop category 0 (s)',
    ).default(10),
  });

  const share = z
    .number({ error: 'is not a number; give 0 to 1' })
    .min(0, { error: 'is below 0; give 0 to 1' })
    .max(1, { error: 'is above 1; give 0 to 1' });
  const picture = z
    .strictObject({
      file: z
        .string()
        .regex(PICTURE_NAME, {
          error:
            'is not the name of a picture beside this file; give one such as owl.png, owl.jpg or owl.svg, without a folder',
        })
        .describe('its file, in the folder of this one: PNG, JPEG or SVG, 5 MB at most'),
      places: z
        .record(
          name('channel'),
          z.tuple([share, share], {
            error: 'is not a place; give [x, y], shares of width and height from the top left',
          }),
        )
        .default({})
        .describe('where each channel is on it: [x, y] from 0 to 1, from the top left'),
    })
    .describe('a photo or drawing of the prop, for the page');

  const soundFile = z
    .string()
    .regex(SOUND_NAME, {
      error:
        'is not the name of a sound beside this file; give one such as hoot.wav, hoot.flac, hoot.ogg or hoot.mp3, without a folder',
    })
    .describe('its file, in the folder of this one: WAV, FLAC, OGG (Vorbis) or MP3, 2 min at most');

  const place = z.union([z.number(), name('mark')], {
    error: 'is not a position; give degrees or a mark',
  });
  const follow = z
    .record(
      name('channel'),
      z.strictObject({
        shut: place.describe('where it is in silence (deg or a mark)'),
        open: place.describe('where it is at full loudness (deg or a mark)'),
        floorLufs: z
          .number()
          .min(-100)
          .max(0)
          .describe('what is softer counts as silence (LUFS, ITU-R BS.1770)'),
        rangeLu: z
          .number()
          .min(1)
          .max(80)
          .describe('how much louder than that opens it fully (LU)'),
        attackS: z.number().min(0).max(2).describe('time constant of opening (s)'),
        releaseS: z.number().min(0).max(2).describe('time constant of closing (s)'),
        take: name('take').optional().describe('the take that was made of it'),
        digest: z
          .string()
          .max(64)
          .optional()
          .describe(
            'of the file of that take as it was made: one that is edited since is not replaced',
          ),
      }),
    )
    .describe(
      'servos whose takes were made of the loudness of this sound, and how: the page writes it (Cues, Voice)',
    );

  const sound = z
    .union([soundFile, z.strictObject({ file: soundFile, follow: follow.optional() })], {
      error: 'is not a sound; give the name of a file beside this one, such as hoot.wav',
    })
    .describe('a sound file beside this one, or { file, follow }');

  const show = z
    .strictObject({
      name: name('show').describe('the show that it takes part in'),
      prop: name('prop').describe('what it is called in the show; no other prop has this name'),
      groups: z
        .array(name('group of props'))
        .max(16, { error: 'are more than 16 groups; name 16 at most' })
        .default([])
        .describe('groups of props that it is in: commands for these reach it too'),
      broker: z
        .strictObject({
          url: z
            .string()
            .regex(/^mqtts?:\/\/(\[[0-9A-Fa-f:]+\]|[A-Za-z0-9.-]+)(:\d{1,5})?$/, {
              error:
                'is not the address of a broker; give mqtts://HOST:8883 (encrypted) or mqtt://HOST:1883, without name and password',
            })
            .refine((url) => URL.canParse(url), {
              error: 'has a port that there is not; give one such as 8883',
            })
            .describe('address of the MQTT 5 broker'),
          username: z.string().min(1).max(100).optional().describe('its name at the broker'),
          // Whoever may edit this file must not have another secret of the board sent to a broker.
          passwordFile: z
            .string()
            .regex(/^\/(?:[^/\0\n]+\/)*show-password[A-Za-z0-9._-]*$/, {
              error:
                'is not the file of a show password; give its full path, and a name that begins with show-password, such as /etc/sinew/show-password: no other secret of this board is sent to a broker',
            })
            .max(500)
            .optional()
            .describe('file (mode 0600) with its password, on one line'),
          caFile: z
            .string()
            .regex(/^\/[^\0\n]+$/, {
              error:
                'is not the full path of a certificate; give one such as /etc/sinew/show-ca.pem',
            })
            .max(500)
            .optional()
            .describe(
              "file with the certificate (PEM) of the authority that signed the broker's; without it those of the system count",
            ),
        })
        .describe('the broker, and how it knows this prop'),
      whenBrokerLost: z
        .enum(['finish', 'park'], {
          error: 'is neither finish nor park; write finish or park',
        })
        .default('finish')
        .describe(
          'what happens to a cue of the show when the broker is lost: it runs to its end, then the prop parks; or the prop parks at once. What still waits for its time is void',
        ),
      maxUncertaintyMs: positive(
        'milliseconds',
        "a start is refused while the show's clock is less certain than this (ms)",
      )
        .max(1000, { error: 'is above 1000; give milliseconds, 1000 or less' })
        .default(10),
      parkAfterS: positive(
        'seconds',
        'the prop parks when no cue of the show has run for this time (s)',
      )
        .max(300, { error: 'is above 300; give seconds, 300 or less' })
        .default(30),
    })
    .describe('the show of many props that this one takes part in; it must be armed at the prop');

  const propFile = z
    .strictObject({
      sinew: z.literal(1, {
        error: ({ input }) =>
          Number.isInteger(input) && (input as number) > 1
            ? 'is a later version of this file format than this Sinew knows, which is 1; install a later Sinew'
            : 'is not a known version of this file format; write sinew: 1',
      }),
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
            .default('park')
            .describe('what happens when the link is lost: park at once, or hold for holdS first'),
          holdS: positive('seconds', 'how long to hold before parking (s)')
            .max(300, { error: 'is above 300; give seconds, 300 or less' })
            .optional(),
        })
        .default({ timeoutMs: 500, onLoss: 'park' })
        .describe('how the link to the laptop is watched'),
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
        .describe('how long a stop may take, and hold, before it becomes category 0'),
      stopInput: z
        .strictObject({
          board: name('board'),
          pin,
          normallyClosed: z.boolean().default(true).describe('a wire break then counts as pressed'),
          category: z
            .union([z.literal(0), z.literal(1), z.literal(2)], {
              error: 'is not a stop category; use 0, 1 or 2',
            })
            .default(1)
            .describe('0: power off at once; 1: decelerate, then off; 2: decelerate and hold'),
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
      ambientC: z
        .number({ error: 'is not a number; give degrees Celsius' })
        .min(-40, { error: 'is below -40; give degrees Celsius' })
        .max(85, { error: 'is above 85; give degrees Celsius' })
        .default(25)
        .describe('temperature inside the prop, for what fuses and wires may carry (C)'),
      ampacity: z
        .enum(['usual', 'strict'], {
          error: 'is neither usual nor strict; write usual or strict',
        })
        .default('usual')
        .describe(
          'what wires may carry: usual is IEC 60204-1; strict is 700 circular mils for each ampere as well, for bundles of thin wires',
        ),
      boards: z.record(name('board'), board).describe('what the channels are wired to, by name'),
      rails: z.record(name('rail'), rail).default({}).describe('the power supplies, by name'),
      connectors: z
        .record(name('connector'), connector)
        .default({})
        .describe('connectors and terminal blocks, by name'),
      wires: z.array(trunk).default([]).describe('wires that do not belong to a channel'),
      channels: z
        .record(name('channel'), channel)
        .describe('what moves, switches or lights, by name'),
      senses: z
        .record(name('sense'), senseSchema(parts))
        .default({})
        .describe('what is measured: current, volts, position, level, contact; by name'),
      groups: z
        .record(name('group'), z.array(name('channel or group')).min(1))
        .default({})
        .describe('servos that move together, by their names or by those of other groups'),
      poses: z
        .record(name('pose'), z.record(name('channel'), poseValue))
        .default({})
        .describe('values for many channels at once, by name'),
      cues: z
        .record(name('cue'), cue)
        .default({})
        .describe('timelines of motion, light and vapour, by name'),
      takes: z
        .record(
          name('take'),
          z.string().regex(TAKE_NAME, {
            error:
              'is not the name of a take beside this file; give one such as wave.take, without a folder',
          }),
        )
        .default({})
        .describe('recorded movements of servos, by name: each a file in the folder of this one'),
      idle: z.record(name('idle'), idle).default({}).describe('background behaviour, by name'),
      osc: z
        .strictObject({
          port: z.int().min(1).max(65_535).describe('UDP port'),
          host: z.string().default('127.0.0.1').describe('address to listen on'),
          perform: z
            .record(
              oscAddress,
              z.strictObject({
                channel: name('channel').describe('the servo that it leads'),
                from: position.optional().describe('where it goes at 0; default: its lower limit'),
                to: position.optional().describe('where it goes at 1; default: its upper limit'),
              }),
            )
            .optional()
            .describe(
              'addresses whose number, 0 to 1, leads a servo while somebody has control and has armed triggers and OSC; once none has come for 0.25 s, it slows down and holds',
            ),
        })
        .optional()
        .describe('where OSC messages come in; they carry no token'),
      e131: z
        .strictObject({
          universe: z.int().min(1).max(63_999).describe('the universe that it listens to'),
          interface: z
            .ipv4({ error: 'is not an IPv4 address; give that of a network interface, 10.0.0.2' })
            .default('127.0.0.1')
            .describe(
              'address of the network interface; one that others can reach also joins the multicast group of the universe',
            ),
          port: z.int().min(1).max(65_535).default(5568).describe('UDP port'),
          priority: z
            .int()
            .min(0)
            .max(200)
            .default(0)
            .describe('sources of a lower priority are ignored'),
          onLoss: z
            .enum(['park', 'hold'], { error: 'is neither park nor hold; write park or hold' })
            .default('park')
            .describe(
              'what lights do when no source is left: fade to what they show when parked, or stay',
            ),
          lossFadeS: atLeast0('seconds', 'how long that fade takes (s)')
            .max(60, { error: 'is above 60; give seconds, 60 or less' })
            .default(2),
          map: z
            .record(
              name('channel'),
              z.strictObject({
                address: z
                  .int()
                  .min(1)
                  .max(512)
                  .describe('its first address; an rgb light takes red, green and blue from there'),
                bits: z
                  .union([z.literal(8), z.literal(16)], {
                    error: 'is neither 8 nor 16; use 8, or 16 for two addresses, coarse and fine',
                  })
                  .default(8)
                  .describe('of each level: 8, or 16 in two addresses, coarse first'),
                allowMotion: z
                  .boolean()
                  .default(false)
                  .describe('lets it lead a servo, while somebody has control and has armed it'),
                from: position
                  .optional()
                  .describe('of a servo: where it goes at 0; default: its lower limit'),
                to: position
                  .optional()
                  .describe('of a servo: where it goes at full; default: its upper limit'),
              }),
            )
            .describe('lights and servos that the levels lead, by name'),
        })
        .optional()
        .describe('levels from a lighting desk, by ANSI E1.31; they carry no token'),
      sounds: z
        .record(name('sound'), sound)
        .default({})
        .describe('sound files beside this one, by name'),
      triggers: z
        .record(name('trigger'), trigger)
        .default({})
        .describe('what runs a cue without a laptop, by name'),
      park: park
        .default({ stages: [], deadlineS: 10 })
        .describe('the order in which channels come to rest'),
      flash: flash.optional(),
      picture: picture.optional(),
      show: show.optional(),
    })
    .describe('Sinew prop file');

  return {
    board,
    connector,
    rail,
    cue,
    trigger,
    guardAction,
    show,
    propFile,
  };
}

type Schemas = ReturnType<typeof make>;

/** Made on demand: a daemon that starts from the compiled form needs no schema. */
export const schemas = lazily(make);

export type GuardAction = z.output<Schemas['guardAction']>;
export type Prop = z.output<Schemas['propFile']> &
  WithSounds & {
    /** What is in the files of `takes`, by the names of these; without it nothing is known of them. */
    performed?: Record<string, TakeFile>;
  };
export type { Board };
export type Connector = z.output<Schemas['connector']>;
export type Rail = z.output<Schemas['rail']>;
export type Cue = z.output<Schemas['cue']>;
export type Trigger = z.output<Schemas['trigger']>;
export type Show = z.output<Schemas['show']>;

export type { Channel } from './kinds/channel.ts';
export type { LampChannel } from './kinds/lamp-schema.ts';
export type { RelayChannel } from './kinds/relay-schema.ts';
export type { RgbChannel } from './kinds/rgb-schema.ts';
export type { ServoChannel } from './kinds/servo-schema.ts';
export type { SoundChannel } from './kinds/sound-schema.ts';
export type { Requirement, Wire } from './schema-parts.ts';
export type { SenseEntry, SenseKind } from './senses-schema.ts';
export type { CueStep } from './steps.ts';
