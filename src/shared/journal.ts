/**
 * The events of the journal, each with its level in a log. A command that was carried out has the name of
 * its method instead.
 */
export const EVENTS = {
  /** The condition of the prop changed. */
  condition: 'info',
  wake: 'info',
  park: 'info',
  stop: 'info',
  reset: 'info',
  lease: 'info',
  lockout: 'info',
  /** The show of many props that the prop takes part in. */
  show: 'info',
  guard: 'info',
  /** What is measured is beyond a limit, or no longer measured. */
  sense: 'info',
  /** A servo that is measured by itself, while a person holds the button. */
  measure: 'info',
  'link lost': 'warn',
  fault: 'warn',
  /** The core's thread stood still for longer than it may. */
  stalled: 'info',
  refused: 'info',
  /** Waits for room on its rail. */
  delayed: 'info',
  /** Servos start one after another, for their rail. */
  staggered: 'info',
  /** What was delayed starts. */
  started: 'info',
  /** Takes longer than asked, for its limits. */
  slower: 'info',
  interlock: 'info',
  duty: 'info',
  flash: 'info',
  /** A lighting desk begins or ends to lead. */
  desk: 'info',
  cue: 'info',
  /** A recording begins or ends. */
  take: 'info',
  /** What plays, and what a sound device reports. */
  sound: 'info',
  'position unknown': 'info',
  /** The saved state. */
  state: 'info',
  /** The prop file. */
  file: 'info',
  gateway: 'info',
  /** The time of day was set, or is older than the journal. */
  clock: 'warn',
  /** A channel has worn so much that it is to be maintained. */
  maintenance: 'warn',
  /** The journal itself: what could not be kept, or read. */
  journal: 'warn',
  /** The daemon is about to end. */
  leaving: 'info',
} as const satisfies Record<string, 'info' | 'warn'>;

export type EventName = keyof typeof EVENTS;
export const EVENT_NAMES = Object.keys(EVENTS) as EventName[];

/** What an entry is about: an event, or the name of a method. */
export type What = EventName | `${string}.${string}`;

/** There are many commands, needed only to find a fault; what the prop does by itself is always logged. */
export function levelOf(what: What): 'debug' | 'info' | 'warn' {
  return EVENTS[what as EventName] ?? 'debug';
}

const URGENT: readonly What[] = [
  'stop',
  'fault',
  'link lost',
  'lockout',
  'stalled',
  'gateway',
  'leaving',
  'wear.done',
];

/** Whether it is written to the disk at once: what follows may be a power cut. */
export function isUrgent(what: What): boolean {
  return URGENT.includes(what);
}

/** Of these, what was measured just before is kept. */
export const INCIDENTS: readonly string[] = ['stop', 'fault', 'link lost'] satisfies What[];

/** The text of an event of a rehearsal without the step's name, which its place shows. */
export function briefly({ text }: { text: string }): string {
  return text.replace(/^cue \S+, step \d+: /, '');
}
