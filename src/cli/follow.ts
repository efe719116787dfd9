import type { ChannelState } from '../api/types.ts';
import { conditionText } from '../shared/condition-text.ts';
import type { StateParams } from './client.ts';
import { print, show, table, UsageError } from './output.ts';
import {
  batteryLines,
  MEASURED,
  measuredText,
  railTable,
  tableWhereMeasured,
  troubleText,
  valueText,
} from './senses-text.ts';
import { seconds, whole } from './values.ts';
import { type Operator, type Outcome, verb } from './verb.ts';

/** Verbs that go on until Ctrl-C. */

const ENDED: Outcome = { result: undefined, text: '' };
const CLEAR = '\x1b[H\x1b[J';

/** Ctrl-C ends such a verb in good order. */
export function untilInterrupted(operator: Operator): Promise<Outcome> {
  return new Promise((resolve) => {
    const forget = operator.io.onInterrupt(() => {
      forget();
      resolve(ENDED);
    });
  });
}

function cells({ value, target, pulseUs, flags }: ChannelState) {
  const now = value === null ? 'unknown' : show(value);
  return [now, show(target), show(pulseUs), flags.join(' ')] as const;
}

interface Shown {
  cells: ReturnType<typeof cells>;
  /** It changes all the time, and is news to nobody. */
  measured: string;
}

/** Keeps what the notifications said so far, and draws it. */
class Picture {
  #condition = '';
  #tS = 0;
  readonly #channels = new Map<string, Shown>();
  #rails: StateParams['rails'] = {};
  readonly #loads = new Map<string, string>();
  readonly #senses = new Map<string, readonly [value: string, trouble: string]>();

  /** Takes a notification; returns one line for each thing that changed. */
  take({ t, channels, rails, senses = {}, ...shown }: StateParams): string[] {
    const condition = conditionText(shown);
    const lines: string[] = [];
    const report = (text: string) => lines.push(`${t.toFixed(2)} s  ${text}`.trimEnd());
    this.#tS = t;
    if (condition !== this.#condition) {
      this.#condition = condition;
      report(`condition ${condition}`);
    }
    for (const [name, state] of Object.entries(channels)) {
      const now = cells(state);
      const [value, target, pulse, flags] = now;
      const before = this.#channels.get(name)?.cells.join();
      this.#channels.set(name, { cells: now, measured: measuredText(state) });
      if (before === now.join()) continue;
      report(`${name}  ${value} -> ${target}${pulse && `  ${pulse} us`}  ${flags}`);
    }
    this.#rails = rails;
    for (const [name, { amps, limitA }] of Object.entries(rails)) {
      const load = `${amps.toFixed(2)} A of ${show(limitA)} A`;
      if (this.#loads.get(name) !== load) report(`rail ${name}  ${load}`);
      this.#loads.set(name, load);
    }
    for (const [name, state] of Object.entries(senses)) {
      const shown = [valueText(state), troubleText(state)] as const;
      if (this.#senses.get(name)?.join() !== shown.join())
        report(`sense ${name}  ${shown[0]}  ${shown[1]}`);
      this.#senses.set(name, shown);
    }
    return lines;
  }

  clear(): void {
    this.#channels.clear();
    this.#rails = {};
    this.#loads.clear();
    this.#senses.clear();
  }

  draw(prop: string): string {
    const channels = [...this.#channels].map(([name, { cells, measured }]) => {
      const [value, target, pulse, flags] = cells;
      return [name, value, target, measured, pulse, flags];
    });
    const senses = [...this.#senses].map(([name, state]) => [name, ...state]);
    return [
      `${prop}: ${this.#condition}  ${this.#tS.toFixed(1)} s  (Ctrl-C ends)`,
      '',
      tableWhereMeasured(['channel', 'value', 'target', MEASURED, 'pulse us', 'flags'], channels),
      '',
      railTable(this.#rails),
      ...batteryLines(this.#rails),
      ...(senses.length > 0 ? ['', table(['sense', 'value', ''], senses)] : []),
    ].join('\n');
  }
}

export const followVerbs = [
  verb<{ hz?: number; for?: number }>({
    name: 'watch',
    summary: 'show channels, rails and what is measured as they change, until Ctrl-C',
    where: 'both',
    args: [],
    options: [
      { flags: '--for <S>', doc: 'only for this time (s)', parse: seconds },
      {
        flags: '--hz <N>',
        doc: 'updates per second, 1 to 50 (5 without it)',
        parse: whole(1, 50),
      },
    ],
    async run({ hz = 5, for: forS }, operator) {
      const { inSession } = operator;
      if (inSession && forS === undefined)
        throw new UsageError(
          'Ctrl-C stops the prop in a session: give watch --for SECONDS, or use a second terminal',
        );
      const client = await operator.client();
      const { stdout } = operator.io;
      const picture = new Picture();
      const onState = (params: StateParams): void => {
        const lines = picture.take(params);
        if (operator.options.json) print(stdout, JSON.stringify(params));
        else if (stdout.isTTY && !inSession) {
          stdout.write(CLEAR);
          print(stdout, picture.draw(client.opened.prop));
        } else for (const line of lines) print(stdout, line);
      };
      // What is shown may be gone; the next notification holds all that there is.
      const onChange = (): void => picture.clear();
      const ended = inSession ? undefined : untilInterrupted(operator);
      client.on('state', onState);
      client.on('change', onChange);
      try {
        // A session goes on following at its own pace.
        if (!inSession) await operator.call('state.follow', { hz });
        const time = forS === undefined ? undefined : operator.sleep(forS * 1000);
        await Promise.race([ended, time].filter((one) => one !== undefined));
        return ENDED;
      } finally {
        client.off('state', onState);
        client.off('change', onChange);
      }
    },
  }),
];
