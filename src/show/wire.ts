import * as z from 'zod';
import { NAME } from '../prop/name.ts';
import { CONDITIONS } from '../shared/condition.ts';
import { lazily } from '../shared/lazily.ts';

/**
 * What props and conductors of a show say to each other over MQTT: topics, and messages as JSON. Times on
 * the wire are ms, of the clock that a message names. Nothing that comes in is trusted: whatever does not fit
 * its schema is dropped. Only commands may have no other keys: of reports and of the clock's messages those
 * that this release does not know are left out. No name or text from the wire becomes part of a path.
 */

/** The longest message that is read or sent (bytes). */
export const MESSAGE_LIMIT_BYTES = 16 * 1024;
/** The longest that a command may ask to stay valid (ms). */
export const LONGEST_VALID_MS = 60_000;
/** The most cues that a status names; what is above is counted. */
export const CUES_LISTED = 200;
/** A prop with a link says its status at least this often (ms). */
export const STATUS_EVERY_MS = 30_000;

const ROOT = 'sinew';

/** Topics of one show. `show`, `prop` and `group` are names as in the prop file: none contains `/`, `+` or `#`. */
export const topics = {
  /** Retained; the broker itself writes `gone` here when the prop's link ends (last will). */
  status: (show: string, prop: string) => `${ROOT}/${show}/prop/${prop}/status`,
  answer: (show: string, prop: string) => `${ROOT}/${show}/prop/${prop}/answer`,
  command: (show: string, prop: string) => `${ROOT}/${show}/prop/${prop}/command`,
  groupCommand: (show: string, group: string) => `${ROOT}/${show}/group/${group}/command`,
  allCommand: (show: string) => `${ROOT}/${show}/all/command`,
  /** A prop asks every conductor that listens for the time. */
  ask: (show: string) => `${ROOT}/${show}/clock/ask`,
  /** A conductor answers a prop. */
  time: (show: string, prop: string) => `${ROOT}/${show}/clock/prop/${prop}`,
  /** A conductor says that it is there, so that props measure its clock at once; every 10 s. */
  here: (show: string) => `${ROOT}/${show}/clock/here`,
  /**
   * Nobody hears this, as no prop is called 0: whether the broker takes it says whether a conductor may command.
   */
  trial: (show: string) => `${ROOT}/${show}/prop/0/command`,
  /** What a conductor subscribes to. */
  everyStatus: (show: string) => `${ROOT}/${show}/prop/+/status`,
  everyAnswer: (show: string) => `${ROOT}/${show}/prop/+/answer`,
} as const;

function make() {
  const v = z.literal(1);
  const name = z.string().regex(NAME);
  const id = z.string().regex(/^[A-Za-z0-9_-]{8,64}$/);
  const words = z.string().min(1).max(300);
  const timeMs = z.number().min(0).max(1e15);

  const common = {
    v,
    /** A new one for each command: a prop heeds an id once. */
    id,
    /** Who sends it, for the journal of the prop. */
    from: z.string().min(1).max(64),
    /** The clock that its times are of. */
    clock: id,
    sentMs: timeMs,
    /** It is void this long after `sentMs`. A stop and a lockout never are. */
    voidAfterMs: z.number().min(1).max(LONGEST_VALID_MS),
  };
  const command = z.discriminatedUnion('act', [
    /** Starts a cue in the tick of `atMs`. */
    z.strictObject({ ...common, act: z.literal('go'), cue: name, atMs: timeMs }),
    /** Ends a cue that a go has started, or all of them, and voids what waits. */
    z.strictObject({ ...common, act: z.literal('end'), cue: name.optional() }),
    z.strictObject({ ...common, act: z.literal('park') }),
    z.strictObject({
      ...common,
      act: z.literal('stop'),
      category: z.union([z.literal(0), z.literal(1), z.literal(2)]).default(1),
    }),
    z.strictObject({
      ...common,
      act: z.literal('lockout'),
      reason: z.string().min(1).max(200).optional(),
    }),
  ]);

  const answer = z.object({
    v,
    prop: name,
    /** That of the command. */
    id,
    act: z.enum(['go', 'end', 'park', 'stop', 'lockout']),
    /** `waits`: the go will start at its time; `done`: it has started, or the command is carried out. */
    outcome: z.enum(['waits', 'done', 'refused']),
    code: z.string().max(64).optional(),
    reason: z.string().max(1000).optional(),
    /** When the cue started, on the clock of the command (ms), and how far off that may be (ms). */
    startedMs: timeMs.optional(),
    uncertaintyMs: z.number().min(0).optional(),
  });

  const clock = z.object({
    clock: id,
    /** The conductor's clock minus the prop's (ms). */
    offsetMs: z.number(),
    uncertaintyMs: z.number().min(0),
    delayMs: z.number().min(0),
  });
  const status = z.union([
    z.object({ v, prop: name, gone: z.literal(true) }),
    z.object({
      v,
      prop: name,
      gone: z.literal(false),
      /** The name of the prop in its file. */
      name: z.string().max(100),
      groups: z.array(name).max(16),
      condition: z.enum(CONDITIONS),
      /** Why it is in that condition. */
      cause: z
        .object({
          code: z.string().max(64),
          who: z.string().max(100),
          words: z.string().max(300),
        })
        .nullable(),
      /** Whether a go may wake and move it; who armed it. */
      armed: z.boolean(),
      armedBy: z.string().max(100).nullable(),
      /** Who has control; null where nobody has. */
      holder: z.string().max(100).nullable(),
      lockout: z.boolean(),
      runs: z.array(z.string().max(64)).max(64),
      /** How many goes wait for their time. */
      waits: z.int().min(0),
      cues: z.array(name).max(CUES_LISTED),
      /** Cues that the list leaves out. */
      cuesLeftOut: z.int().min(0),
      /** The lowest battery, where one is measured. */
      battery: z.object({ sense: name, volts: z.number(), low: z.boolean() }).nullable(),
      /** What has worn it in all; a prop says it a second after it has started. */
      wear: z
        .object({
          /** All the way that its servos went (deg). */
          travelDeg: z.number().min(0),
          /** How long its channels were on, added up (h). */
          onH: z.number().min(0),
          /** Channels whose maintenance is due. */
          due: z.int().min(0),
        })
        .optional(),
      /** Of the program. */
      version: z.string().max(64),
      /** Version of the prop file. */
      file: z.string().max(100),
      clocks: z.array(clock).max(4),
      /** What is not as it should be, the worst first. */
      problems: z.array(words).max(16),
    }),
  ]);

  /** `t1` is the prop's own clock. */
  const ask = z.object({ v, prop: name, ask: id, t1: timeMs });
  /** `t2` and `t3`: when the question came and the answer left, on the conductor's clock. */
  const time = z.object({ v, clock: id, ask: id, t1: timeMs, t2: timeMs, t3: timeMs });
  const here = z.object({ v, clock: id, from: z.string().min(1).max(64) });

  return { command, answer, status, ask, time, here };
}

type Messages = ReturnType<typeof make>;

/** The schemas of the messages; made on demand. */
export const messages = lazily(make);

export type Message<K extends keyof Messages> = z.output<Messages[K]>;
export type Command = Message<'command'>;
export type Act = Command['act'];
export type Answer = Message<'answer'>;
export type Status = Message<'status'>;

/**
 * A message that has come in, or why it is none. @param payload as it came: nothing of it is trusted
 * @returns `wrong`: a few words for the log, without anything of the payload
 */
export function read<K extends keyof Messages>(
  kind: K,
  payload: Uint8Array,
): { message: Message<K> } | { wrong: string } {
  if (payload.byteLength > MESSAGE_LIMIT_BYTES)
    return { wrong: `${payload.byteLength} bytes are more than ${MESSAGE_LIMIT_BYTES}` };
  let value: unknown;
  try {
    value = JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(payload));
  } catch {
    return { wrong: 'it is not JSON in UTF-8' };
  }
  const parsed = messages()[kind].safeParse(value);
  if (parsed.success) return { message: parsed.data as Message<K> };
  const [issue] = parsed.error.issues;
  // Names of keys come from the sender: only the schema's own are repeated.
  const place = issue!.path.filter((key) => /^[A-Za-z]{1,20}$/.test(String(key))).join('.');
  return { wrong: place === '' ? 'it has another shape' : `its ${place} is missing or wrong` };
}

/** A message as it is sent. */
export function write(
  message: Command | Answer | Status | Message<'ask' | 'time' | 'here'>,
): string {
  return JSON.stringify(message);
}

/** A conductor's answer to a question for the time. @param t2 when that came @param t3 now, both on its clock (ms) */
export function answerAsk(
  { ask, t1 }: Message<'ask'>,
  clock: string,
  t2: number,
  t3: number,
): Message<'time'> {
  return { v: 1, clock, ask, t1, t2, t3 };
}
