import type { Params } from '../../src/api/methods.ts';
import type { Driver } from '../../src/boards/board.ts';
import type { PropEditor } from '../../src/core/commands.ts';
import type { Core } from '../../src/core/core.ts';
import type { ChangeMessage, Outcome } from '../../src/core/core-prop.ts';
import type { CuePassage, PassageAsked } from '../../src/core/cue-passage.ts';
import type { Changing } from '../../src/core/exchange.ts';
import type { Recording } from '../../src/core/recorder.ts';
import { changed, type Edit } from '../../src/prop/edit-text.ts';
import type { Board, Prop } from '../../src/prop/schema.ts';
import { passageOf } from '../../src/rehearsal/cue-passage.ts';

/** How a core on a bench takes over changes: from a list, with the outcomes written down. */
export class Bench implements Changing {
  readonly messages: ChangeMessage[] = [];
  readonly outcomes: [id: number, outcome: Outcome][] = [];
  /** What changed, at every change that came into force. */
  readonly inUse: string[][] = [];
  readonly plans: string[][] = [];
  readonly #make: (board: Board) => Driver;

  constructor(make: (board: Board) => Driver) {
    this.#make = make;
  }

  readonly receive = (): ChangeMessage | undefined => this.messages.shift();
  readonly createDriver = async (board: Board): Promise<Driver> => this.#make(board);
  readonly writePlan: Changing['writePlan'] = async (_prop, boards) => {
    this.plans.push(boards.map(({ name }) => name));
  };
  readonly reportOutcome = (id: number, outcome: Outcome): void => {
    this.outcomes.push([id, outcome]);
  };
  readonly onProp: Changing['onProp'] = ({ changed: what }) => {
    this.inUse.push(what);
  };
}

let lastId = 0;

/** Values of channels and poses come into force at once, as the prop-file service sends them. */
export function takeEdits(core: Core, edits: readonly Edit[]): void {
  const of = (section: string) => edits.filter(({ path }) => path[0] === section);
  const names = new Set(of('channels').map(({ path }) => String(path[1])));
  let data: unknown = { channels: core.prop.channels, poses: core.prop.poses };
  for (const { path, value } of edits) data = changed(data, path, value);
  const { channels, poses } = data as Pick<Prop, 'channels' | 'poses'>;
  const messages: ChangeMessage[] = [
    {
      ...{
        t: 'begin',
        id: ++lastId,
        version: String(lastId),
        base: core.version,
        whenParked: false,
      },
      ...{ changed: [], view: new Uint8Array(), rest: of('poses').length > 0 ? { poses } : {} },
    },
    ...[...names].map((name) => ({ t: 'channel', name, spec: channels[name]! }) as const),
    { t: 'end' },
  ];
  for (const message of messages) core.exchange!.changes.take(message);
}

/** The prop file as commands see it: keeps what is written, and puts it into force at once. */
export class Editor implements PropEditor {
  readonly edits: Edit[] = [];
  refusal: Error | undefined;
  /** When set, a change waits for it. */
  writing: Promise<void> | undefined;
  /** What `undo` puts back. */
  undoing: Edit[] = [];
  core: Core | undefined;

  async capture(edits: Edit[]): Promise<{ version: string }> {
    await this.writing;
    if (this.refusal) throw this.refusal;
    this.edits.push(...edits);
    takeEdits(this.core!, edits);
    return { version: '1' };
  }

  async undo(): Promise<{ undone: string }> {
    if (this.refusal) throw this.refusal;
    takeEdits(this.core!, this.undoing);
    return { undone: 'the last capture' };
  }

  async apply() {
    return { version: '1', changed: [], pending: false };
  }

  async cue() {
    return { version: '1', changed: [], pending: false };
  }

  async restore() {
    return { version: '1', changed: [], pending: false };
  }

  async beginPicture() {
    return { upload: 1, partBytes: 45_000 };
  }

  /** What was saved of recordings. */
  readonly saved: string[] = [];

  async beginSound() {
    return { upload: 1, partBytes: 45_000 };
  }

  async addSound({ name }: Params<'sound.add'>) {
    return { sound: name, file: `${name}.wav`, durationS: 1, version: 'v', pending: true };
  }

  async scanBoards() {
    return { buses: [], chips: [] };
  }

  async wearDone(channel: string, who: string, note: string) {
    const counts = {
      ...{ cycles: 0, travelDeg: 0, starts: 0, onS: 0, pushingS: 0, closures: 0, lightS: 0 },
    };
    return { channel, time: '2026-05-04T10:15:00.000Z', who, note, counts };
  }

  async removeSound({ sound }: Params<'sound.remove'>) {
    return { sound, version: 'v', pending: true };
  }

  async followSound({ sound, channel }: Params<'sound.follow'>) {
    const take = `${sound}_${channel}`;
    return { take, file: `${take}.take`, points: 2, durationS: 1, version: 'v', pending: false };
  }

  /** The takes that cues play, where the prop itself has none. */
  performed: Prop['performed'];
  /** The version that a passage is of, where it is another than the one in use. */
  passageOf: string | undefined;

  async passage(asked: PassageAsked): Promise<CuePassage> {
    await this.writing;
    const { performed = this.core!.prop.performed } = this;
    const made = await passageOf({ ...this.core!.prop, ...(performed && { performed }) }, asked);
    return { version: this.passageOf ?? this.core!.version, ...made };
  }

  async readTake() {
    return { channels: [], durationS: 0, recorded: {}, simplified: {}, differenceDeg: {} };
  }

  async saveTake(recording: Recording | undefined, { name }: Params<'take.save'>) {
    this.saved.push(name);
    return {
      name,
      version: '1',
      file: `${name}.take`,
      pending: false,
      points: recording?.count ?? 0,
      durationS: 1,
    };
  }

  async endPicture() {
    return { file: 'owl.png', width: 1, height: 1, leftOut: [] };
  }
}
