import { Refusal } from '../shared/errors.ts';

export interface Session {
  id: string;
  client: string;
  /** Its place in the shared signs of life. */
  slot: number;
  /** For a trigger: it has no link that could be lost, and anybody may take over from it. */
  unattended?: boolean;
}

/** What ended the holder's right to command. */
export type Loss = { why: 'silent' | 'closed' | 'released' | 'grace over'; client: string };

/**
 * The right to command: one session at a time. The core looks at two counters of the holder once a
 * tick: what it has sent, and what it has shown to have received. If either stands still, the link is lost:
 * half-open or cut; so is a hanging gateway, which counts nothing.
 */
export class Lease {
  /** Silence that counts as a lost link (ms). */
  timeoutMs: number;
  readonly #lifeOf: (slot: number) => number;
  readonly #receivedOf: (slot: number) => number;
  #holder: Session | undefined;
  #seen = 0;
  #seenMs = 0;
  #received = 0;
  #receivedMs = 0;
  #graceUntilMs: number | undefined;
  #graceOf = '';

  constructor(
    timeoutMs: number,
    lifeOf: (slot: number) => number,
    receivedOf: (slot: number) => number,
  ) {
    this.timeoutMs = timeoutMs;
    this.#lifeOf = lifeOf;
    this.#receivedOf = receivedOf;
  }

  get holder(): Session | undefined {
    return this.#holder;
  }

  /** @throws Refusal `notHolder` with the holder's name, while another session holds the lease */
  take(session: Session, nowMs: number): void {
    if (session.slot < 0 && !session.unattended)
      throw new Refusal(
        'lease.no-place',
        'a session without a place of its own cannot hold the lease',
        {
          holder: this.#holder?.client ?? null,
        },
      );
    const holder = this.#holder;
    if (holder && holder.id !== session.id && !holder.unattended)
      throw new Refusal('lease.held', `${holder.client} holds the lease; ask there, or wait`, {
        holder: holder.client,
      });
    this.#holder = session;
    this.#graceUntilMs = undefined;
    this.#seen = this.#lifeOf(session.slot);
    this.#seenMs = nowMs;
    this.#received = this.#receivedOf(session.slot);
    this.#receivedMs = nowMs;
  }

  /** @throws Refusal `notHolder` unless `session` holds the lease */
  require(session: Session): void {
    const holder = this.#holder;
    if (holder?.id === session.id) return;
    throw holder
      ? new Refusal('lease.held', `${holder.client} holds the lease; it alone may command`, {
          holder: holder.client,
        })
      : new Refusal('lease.not-taken', 'nobody holds the lease; take it first (lease.take)', {
          holder: null,
        });
  }

  /** The holder leaves on purpose; returns the loss at once when there is no grace. */
  release(session: Session, graceS: number, nowMs: number): Loss | undefined {
    this.require(session);
    this.#holder = undefined;
    if (graceS === 0) return { why: 'released', client: session.client };
    this.#graceUntilMs = nowMs + graceS * 1000;
    this.#graceOf = session.client;
    return undefined;
  }

  /** The holder's link is gone: no grace. Returns what was lost, or undefined for any other session. */
  drop(sessionId: string, why: 'silent' | 'closed'): Loss | undefined {
    const holder = this.#holder;
    if (holder?.id !== sessionId) return undefined;
    this.#holder = undefined;
    this.#graceUntilMs = undefined;
    return { why, client: holder.client };
  }

  /** A parked prop needs no grace. */
  endGrace(): void {
    this.#graceUntilMs = undefined;
  }

  /** Once a tick. Returns a loss once, when the holder fell silent or the grace ran out. */
  check(nowMs: number): Loss | undefined {
    if (this.#holder?.unattended) return undefined;
    if (this.#holder) {
      const { slot, id } = this.#holder;
      const life = this.#lifeOf(slot);
      if (life !== this.#seen) {
        this.#seen = life;
        this.#seenMs = nowMs;
      } else if (nowMs - this.#seenMs > this.timeoutMs) return this.drop(id, 'silent');
      const received = this.#receivedOf(slot);
      if (received !== this.#received) {
        this.#received = received;
        this.#receivedMs = nowMs;
      } else if (nowMs - this.#receivedMs > this.timeoutMs) return this.drop(id, 'silent');
    } else if (this.#graceUntilMs !== undefined && nowMs >= this.#graceUntilMs) {
      this.#graceUntilMs = undefined;
      return { why: 'grace over', client: this.#graceOf };
    }
    return undefined;
  }
}
