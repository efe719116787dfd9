import type { SenseLimit } from '../prop/senses.ts';
import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import { AngleWatch } from './angle-watch.ts';
import type { BoardIo } from './board-io.ts';
import type { Board } from './boards.ts';
import type { CoreContext } from './core-context.ts';
import { DipWatch } from './dip-watch.ts';
import { DropWatch } from './drop-watch.ts';
import { PlantSupplies } from './plant-supplies.ts';
import { PushWatch } from './push-watch.ts';
import { exposePlant } from './sense-plant.ts';
import type { Sense, SenseNews, SenseNote } from './senses.ts';

/** So long after a guard is whole, or no hand turns a servo, nobody is in (s). Chosen, no source. */
const CLEAR_S = 2;

/** What makes the prop park. */
interface Low {
  sense: Sense;
  limit: SenseLimit;
}

/**
 * What follows from what is measured: warnings, and parking below a limit. A sense only ever adds caution:
 * it starts nothing, allows nothing, and drops no power, and one that is not measured changes nothing.
 */
export class SenseWatch {
  readonly #context: CoreContext;
  readonly #io: BoardIo;
  readonly #pushes: PushWatch;
  readonly #dips: DipWatch;
  readonly #angles: AngleWatch;
  readonly #drops: DropWatch;
  /** Of simulated boards. */
  readonly supplies = new PlantSupplies();
  #changed = false;
  /** While a low voltage waits for hands: until when they are not taken to be out (s); else NaN. */
  #clearS = Number.NaN;

  constructor(context: CoreContext, io: BoardIo) {
    this.#context = context;
    this.#io = io;
    this.#pushes = new PushWatch(context);
    this.#dips = new DipWatch(context);
    this.#angles = new AngleWatch(context);
    this.#drops = new DropWatch(context);
  }

  /** As often as drivers are asked what they measure. */
  tick(): void {
    const { body, nowMs, condition } = this.#context;
    const { senses } = body;
    if (senses.list.length === 0) return;
    exposePlant(body, this.supplies, nowMs);
    this.#dips.note();
    senses.read(nowMs, condition === 'parked' || condition === 'waking', this.#levelOf, this.#heed);
    senses.show(body);
    if (this.#pushes.tick()) this.#changed = true;
    if (this.#dips.tick()) this.#changed = true;
    if (this.#angles.tick()) this.#changed = true;
    if (this.#drops.tick()) this.#changed = true;
    if (this.#changed) this.publish();
    const low = this.#lowest();
    if (!low || !this.#context.acting) {
      this.#clearS = Number.NaN;
      return;
    }
    // Without its load a battery recovers by itself: nothing unattended wakes the prop to drain it again.
    this.#context.attended = false;
    this.#context.unattendedWhy = `a low voltage (${low.sense.name}) has made the prop park`;
    if (this.#waitsForHands(low)) return;
    // A park that still waits begins at once.
    if (condition === 'parking') this.#context.parker.endHold(this.#context.nowS);
    else this.#context.parkAway(this.#lowText(low), 0);
  }

  /** The voltage may be a lie, and a hand may be in: nothing moves for it until that is over. */
  #waitsForHands(low: Low): boolean {
    const { inhibits, nowS, gate, journal } = this.#context;
    // By a broken guard, or because a hand turns a servo.
    const isIn = gate.blocked !== undefined;
    if (!isIn && Number.isNaN(this.#clearS)) return false;
    if (!isIn) return nowS < this.#clearS;
    if (Number.isNaN(this.#clearS)) {
      gate.openParkedOpen();
      const until = inhibits.active
        ? `no guard is broken (${inhibits.broken})`
        : 'no hand turns a servo';
      const text = `${this.#lowText(low)}: relays open; it parks once ${until}`;
      journal.add('prop', 'sense', text, { sense: low.sense.name });
    }
    this.#clearS = nowS + CLEAR_S;
    return true;
  }

  /** Below a limit nothing wakes. @throws Refusal `condition` */
  mustAllowWake(): void {
    const low = this.#lowest();
    if (!low) return;
    const { limit, sense } = low;
    const lastV = this.#context.body.senses.lastOf(sense);
    throw new Refusal(
      'sense.low',
      `${this.#lowText(low)}; the prop wakes again from ${sense.text(limit.back)}: charge or change the battery, or look at the supply and its wires. If the sense is wrong, correct it or take its parkBelow out of the prop file`,
      {
        condition: this.#context.condition,
        ...{ sense: sense.name, value: tidy(lastV), parkBelow: limit.at, wakesFrom: limit.back },
        ...(sense.fault !== undefined && { fault: sense.fault }),
      },
    );
  }

  /** What is not as it should be, for clients. */
  publish(): void {
    this.#changed = false;
    this.#context.senseNotes = this.#context.body.senses.list.flatMap((sense) =>
      this.#notesOf(sense),
    );
    this.#context.publishSafety();
  }

  #notesOf(sense: Sense): SenseNote[] {
    const { name, fault, limits } = sense;
    const notes: SenseNote[] = [];
    if (fault !== undefined)
      notes.push({ name, what: 'fault', text: `${name} is not measured: ${fault}` });
    const said = this.#pushes.saidOf(sense);
    if (said !== undefined) notes.push({ name, what: 'warning', text: said });
    const dipped = this.#dips.saidOf(sense);
    if (dipped !== undefined) notes.push({ name, what: 'warning', text: dipped });
    for (const text of this.#angles.notesOf(sense)) notes.push({ name, what: 'warning', text });
    const weak = this.#drops.saidOf(sense);
    if (weak) notes.push({ name, what: 'warning', text: weak.text, weak });
    for (const [k, limit] of limits.entries()) {
      // Below parkBelow it is below warnBelow as well.
      const isSaid = limit.what === 'warnBelow' && sense.isPast('parkBelow');
      if (!sense.hasPassed(k) || isSaid || limit.what === 'pushAboveA') continue;
      const isLow = limit.what === 'parkBelow';
      const text = `${name} is ${beyond(sense, limit)}${isLow ? '; the prop does not wake' : ''}`;
      notes.push({ name, what: isLow ? 'low' : 'warning', text });
    }
    return notes;
  }

  #lowest(): Low | undefined {
    const { list } = this.#context.body.senses;
    for (let i = 0; i < list.length; i++) {
      const sense = list[i]!;
      if (sense.passed === 0) continue;
      for (let k = 0; k < sense.limits.length; k++) {
        const limit = sense.limits[k]!;
        if (limit.what === 'parkBelow' && sense.hasPassed(k)) return { sense, limit };
      }
    }
    return undefined;
  }

  #lowText({ sense, limit }: Low): string {
    const { senses } = this.#context.body;
    const text = sense.text(senses.lastOf(sense));
    const is =
      sense.fault === undefined
        ? `is at ${text}`
        : `was at ${text} when it was measured last (${sense.fault})`;
    return `${sense.name} ${is}, and the prop rests below ${sense.text(limit.at)}`;
  }

  readonly #levelOf = (board: Board, input: number): 0 | 1 | undefined =>
    this.#io.level(board, input);

  readonly #heed = (sense: Sense, news: SenseNews, limit: SenseLimit | undefined): void => {
    this.#changed = true;
    if (news === 'dipped' || news === 'risen') {
      this.#dips.heed(sense, news);
      return;
    }
    if (limit?.what === 'pushAboveA') {
      if (news === 'passed') this.#pushes.heed(sense);
      return;
    }
    const { name, fault } = sense;
    const value = this.#context.body.senses.lastOf(sense);
    const values = {
      sense: name,
      ...(Number.isFinite(value) && { value: tidy(value) }),
      ...(limit && { limit: limit.what, at: limit.at }),
      ...(fault !== undefined && { fault }),
    };
    this.#context.journal.recur('prop', 'sense', newsText(sense, news, limit), values);
  };
}

function beyond(sense: Sense, { side, at }: SenseLimit): string {
  if (sense.kind === 'contact') return sense.text(side === 'above' ? 1 : 0);
  return `${side} ${sense.text(at)}`;
}

/** The same words for the same news, whatever the value: the journal counts them. */
function newsText(
  sense: Sense,
  news: Exclude<SenseNews, 'dipped' | 'risen'>,
  limit: SenseLimit | undefined,
): string {
  const { name, kind } = sense;
  switch (news) {
    case 'fault':
      return `${name} is not measured: ${sense.fault}`;
    case 'measured':
      return `${name} is measured again`;
    case 'passed':
      return `${name} is ${beyond(sense, limit!)}${limit!.what === 'parkBelow' ? ': the prop parks, and does not wake' : ''}`;
    case 'back':
      if (kind === 'contact') return `${name} is ${sense.text(limit!.side === 'above' ? 0 : 1)}`;
      return `${name} is no longer ${beyond(sense, limit!)}`;
  }
}
