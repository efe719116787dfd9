import type { ShowPageAct, ShowPageAnswer } from '../api/show-page.ts';
import { Bucket } from '../shared/bucket.ts';
import type { Clock } from '../shared/clock.ts';
import type { Stage } from './stage.ts';

/** A page that has not asked for so long (ms) no longer has the right to start cues, nor its place. */
const SILENT_MS = 3000;
/** Pages that are shown the show at once. Any more can stop, park, end and lock out all the same. */
const PAGES = 16;
/** Requests of all pages: so many a second for ever, so many at once. A stop is never refused for that. */
const PER_S = 100;
const BURST = 300;
/** All pages that ask within this time (ms) are shown the same. */
const FRESH_MS = 200;

/** Why a page is not answered, in words. */
export class PageRefusal extends Error {
  /** Of HTTP. */
  readonly status: 404 | 429 | 503;

  constructor(status: PageRefusal['status'], reason: string) {
    super(reason);
    this.status = status;
  }
}

/**
 * What pages of a show may do. Stop, park, end and lockout are taken from every page that is let in; a cue is
 * started only for the one page that has taken control, as with the lease of a prop. Whether a prop moves, it
 * decides itself: it must have been armed there.
 */
export class ShowDesk {
  readonly #stage: Stage;
  readonly #clock: Clock;
  readonly #holder: Holder;
  readonly #bucket: Bucket;
  /** By page: when it was heard last (ms). */
  readonly #pages = new Map<string, number>();
  #shown: { text: Promise<string>; atMs: number } | undefined;

  constructor(stage: Stage, clock: Clock) {
    this.#stage = stage;
    this.#clock = clock;
    this.#holder = new Holder(clock, (has) => stage.control(has));
    this.#bucket = new Bucket(PER_S, BURST, clock.nowMs());
  }

  /** What a page is shown: a `ShowPageState` as JSON. @throws PageRefusal */
  async state(page: string): Promise<string> {
    this.#admit();
    this.#place(page);
    this.#holder.heard(page);
    const text = await this.#read();
    const own = { control: this.#holder.is(page), holder: this.#holder.other(page) };
    return `${text.slice(0, -1)},${JSON.stringify(own).slice(1)}`;
  }

  /** @throws PageRefusal */
  async act(page: string, asked: ShowPageAct): Promise<ShowPageAnswer> {
    if (asked.act !== 'stop') this.#admit();
    switch (asked.act) {
      case 'take':
        this.#place(page);
        return this.#holder.take(page);
      case 'release':
        return this.#holder.release(page);
      case 'go':
        if (!this.#holder.is(page)) return no('take control first: one page alone starts cues');
    }
    return this.#stage.carryOut(asked);
  }

  #admit(): void {
    if (!this.#bucket.take(1, this.#clock.nowMs()))
      throw new PageRefusal(429, 'the pages of the show ask too often; close some');
  }

  #place(page: string): void {
    const nowMs = this.#clock.nowMs();
    for (const [other, heardMs] of this.#pages)
      if (nowMs - heardMs > SILENT_MS) this.#pages.delete(other);
    if (!this.#pages.has(page) && this.#pages.size >= PAGES)
      throw new PageRefusal(
        429,
        `${PAGES} pages of the show are open here; close one, and this one is shown it`,
      );
    this.#pages.set(page, nowMs);
  }

  #read(): Promise<string> {
    const nowMs = this.#clock.nowMs();
    if (!this.#shown || nowMs - this.#shown.atMs > FRESH_MS) {
      const shown = { text: this.#stage.read(), atMs: Number.POSITIVE_INFINITY };
      this.#shown = shown;
      const over = () => {
        shown.atMs = this.#clock.nowMs();
      };
      shown.text.then(over, over);
    }
    return this.#shown.text;
  }
}

function no(line: string): ShowPageAnswer {
  return { ok: false, lines: [line] };
}

/** The right to start cues: one page has it, as long as it is heard. */
class Holder {
  readonly #clock: Clock;
  readonly #changed: (has: boolean) => void;
  #id: string | undefined;
  #cancel = () => {};

  constructor(clock: Clock, changed: (has: boolean) => void) {
    this.#clock = clock;
    this.#changed = changed;
  }

  is(id: string): boolean {
    return this.#id === id;
  }

  heard(id: string): void {
    if (this.is(id)) this.#hold(id);
  }

  /** Who else has it, in words. */
  other(id: string): string | null {
    return this.#id === undefined || this.is(id) ? null : 'another page';
  }

  take(id: string): ShowPageAnswer {
    if (this.other(id) !== null)
      return no('another page has control; give it back there, or close it');
    this.#hold(id);
    this.#changed(true);
    return { ok: true, lines: [] };
  }

  release(id: string): ShowPageAnswer {
    if (this.is(id)) this.#end();
    return { ok: true, lines: [] };
  }

  #hold(id: string): void {
    this.#id = id;
    this.#cancel();
    this.#cancel = this.#clock.after(SILENT_MS, () => this.#end());
  }

  #end(): void {
    this.#id = undefined;
    this.#cancel();
    this.#changed(false);
  }
}
