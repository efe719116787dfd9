import { tidy } from '../shared/units.ts';
import type { CoreContext } from './core-context.ts';
import type { Loss, Session } from './lease.ts';

interface ControlEvents {
  /** A session's link counts as lost, so that it can be dropped. */
  onLost: (session: string) => void;
  /** Somebody else holds the lease, or nobody does; `lost` when the holder's link was lost. */
  onHolder: (holder: string | null, lost?: boolean) => void;
}

/** Who commands the prop, and what happens once nobody does. */
export class Control {
  readonly #context: CoreContext;
  readonly #tickMs: number;
  readonly #onLost: (session: string) => void;
  readonly #onHolder: (holder: string | null, lost?: boolean) => void;
  /** The session that took the lease last. */
  #last = '';

  constructor(context: CoreContext, tickMs: number, { onLost, onHolder }: ControlEvents) {
    this.#context = context;
    this.#tickMs = tickMs;
    this.#onLost = onLost;
    this.#onHolder = onHolder;
  }

  /** Gives the lease to a session; what another holder started comes to rest. */
  take(session: Session): void {
    const { holder } = this.#context.lease;
    this.#context.lease.take(session, this.#context.clock.nowMs());
    if (!session.unattended) this.#context.attended = true;
    if (holder && holder.id !== session.id) this.#context.beStill(`${session.client} took over`);
    // What somebody else has started does not go on under new control, in a time of grace either.
    if (this.#last !== session.id) for (const sound of this.#context.body.sounds) sound.fadeOut();
    this.#last = session.id;
    this.#context.journal.add(session.client, 'lease', `${session.client} holds the lease`);
    this.#onHolder(session.client);
  }

  /** Takes the lease back from its holder: the prop parks after `graceS` (s) unless somebody takes it. */
  release(session: Session, graceS: number): void {
    const loss = this.#context.lease.release(session, graceS, this.#context.clock.nowMs());
    this.#context.beStill(`${session.client} released the lease`);
    this.#context.journal.add(session.client, 'lease', `${session.client} released the lease`, {
      graceS,
    });
    this.#onHolder(null);
    if (loss) this.#lose(loss);
  }

  /** A session is over; its right to command, if it had it, is lost. */
  drop(sessionId: string): void {
    const loss = this.#context.lease.drop(sessionId, 'closed');
    if (loss) this.#lose(loss);
  }

  /**
   * Called before any request is read. After the main thread stood still, requests may be older than
   * the link timeout: then the lease is lost first, as the next tick would find.
   */
  catchUp(): void {
    this.#loseIfStalled(this.#context.clock.nowMs() - this.#context.nowMs);
  }

  #loseIfStalled(stalledMs: number): boolean {
    const { holder } = this.#context.lease;
    if (stalledMs <= this.#context.prop.link.timeoutMs || !holder) return false;
    this.#context.journal.add(
      'prop',
      'stalled',
      `the daemon stood still for ${tidy(stalledMs, 0)} ms`,
    );
    this.#onLost(holder.id);
    this.#lose(this.#context.lease.drop(holder.id, 'silent')!);
    return true;
  }

  /** Once a tick: whether the holder still shows signs of life. */
  supervise(elapsed: number): void {
    if (this.#loseIfStalled(elapsed * this.#tickMs)) return;
    const { holder } = this.#context.lease;
    const loss = this.#context.lease.check(this.#context.nowMs);
    if (!loss) return;
    if (holder) this.#onLost(holder.id);
    this.#lose(loss);
  }

  /** Nobody commands any more: the prop looks after itself. */
  #lose(loss: Loss): void {
    const lost = loss.why === 'silent' || loss.why === 'closed';
    if (lost) {
      this.#context.journal.add('prop', 'link lost', `${loss.client} is gone: ${loss.why}`, {
        ...loss,
      });
      this.#onHolder(null, true);
      for (const sound of this.#context.body.sounds) sound.cut();
    }
    const { onLoss, holdS } = this.#context.prop.link;
    this.#context.parkAway(
      lost ? 'link lost' : loss.why,
      lost && onLoss === 'hold-then-park' ? (holdS ?? 0) : 0,
    );
  }
}
