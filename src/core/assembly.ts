import type { Channel, Cue } from '../prop/schema.ts';
import type { Clock } from '../shared/clock.ts';
import { Body } from './body.ts';
import type { CoreProp, CueTakes } from './core-prop.ts';
import { type CueEvents, Cues, compileCue, type ReadyCue } from './cues.ts';
import { Gate } from './gate.ts';
import { Idle } from './idle.ts';
import type { Journal } from './journal.ts';
import { Parker } from './park.ts';
import { PropLight } from './prop-light.ts';
import { Waker } from './waker.ts';

/** Everything that is put together from one version of the prop file. */
export class Assembly {
  readonly body: Body;
  readonly gate: Gate;
  readonly cues: Cues;
  readonly idle: Idle;
  readonly parker: Parker;
  readonly waker: Waker;
  readonly light: PropLight;

  constructor(
    body: Body,
    cues: ReadonlyMap<string, ReadyCue>,
    journal: Journal,
    events: CueEvents,
    clock: Clock,
  ) {
    this.body = body;
    this.gate = new Gate(body, journal, () => clock.nowMs());
    this.cues = new Cues(body, this.gate, journal, events, cues);
    this.idle = new Idle(body, this.cues);
    this.parker = new Parker(body, this.gate, journal);
    this.waker = new Waker(body, this.gate, journal);
    this.light = new PropLight(body, journal);
  }
}

/** The cues of a prop, ready to run. */
export function cuesOf(prop: CoreProp): Map<string, ReadyCue> {
  const { cues, cueTakes = {} } = prop;
  return new Map(
    Object.entries(cues).map(([name, cue]) => [name, compileCue(name, cue, cueTakes[name])]),
  );
}

/** An assembly in the making, one channel or cue at a time. */
export class Assembling {
  readonly body: Body;
  readonly #cues = new Map<string, ReadyCue>();

  /** @param prop without channels and cues */
  constructor(prop: CoreProp) {
    this.body = new Body(prop);
  }

  /** @throws RangeError when the board cannot make a pulse within the channel's limits */
  channel(name: string, spec: Channel): void {
    this.body.add(name, spec);
  }

  cue(name: string, cue: Cue, durationS: number | null, takes: CueTakes): void {
    this.body.prop.cues[name] = cue;
    this.body.prop.cueDurationsS[name] = durationS;
    this.#cues.set(name, compileCue(name, cue, takes));
  }

  complete(journal: Journal, events: CueEvents, clock: Clock): Assembly {
    this.body.complete();
    return new Assembly(this.body, this.#cues, journal, events, clock);
  }
}
