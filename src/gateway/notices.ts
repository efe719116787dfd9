import type { NoticeParams } from '../api/notifications.ts';
import type { FileFinding, FileNews, JournalEntry } from '../api/types.ts';
import type { Finding } from '../prop/finding.ts';
import { findingInfos } from '../prop/finding-info.ts';
import { CONDITIONS } from '../shared/condition.ts';
import { causeOf } from './cause.ts';
import { notification } from './jsonrpc.ts';
import type { View } from './state.ts';

/** Of a file with a thousand faults or changes, this many are sent to every session. */
const MOST = 50;

/** What every open session gets without asking. */
export class Notices {
  readonly #view: View;
  readonly #notifyAll: (text: string) => void;
  /** The news that the sessions know. */
  #known: string;

  constructor(view: View, notifyAll: (text: string) => void) {
    this.#view = view;
    this.#notifyAll = notifyAll;
    this.#known = JSON.stringify(this.news() ?? null);
  }

  /** What a session must know about the file; undefined when the file is in use. */
  news(): FileNews | undefined {
    const { status, oscProblem, e131Problem } = this.#view;
    const problem = status.problem ?? oscProblem ?? e131Problem;
    if (!status.pending && problem === undefined) return undefined;
    const findings = firstOf(status.findings);
    return {
      changed: shortened(status.changed),
      ...(status.pending && { pending: true as const }),
      ...(problem !== undefined && { problem }),
      ...(findings.length > 0 && { findings }),
    };
  }

  /** Another version of the prop is in use. */
  adopted(changed: readonly string[]): void {
    this.#known = JSON.stringify(this.news() ?? null);
    this.#notify({ ...this.news(), changed: shortened(changed) });
  }

  /** Something about the file, or about what it asks for, has changed. */
  file(): void {
    const news = this.news();
    const text = JSON.stringify(news ?? null);
    if (text === this.#known) return;
    this.#known = text;
    this.#notify(news ?? { changed: [] });
  }

  /** An entry of the journal: a change of the condition is sent to every session. */
  entry(entry: JournalEntry): void {
    const condition = CONDITIONS.find((one) => one === entry.values?.condition);
    const cause = causeOf(entry);
    if (!condition || !cause) return;
    this.#notifyAll(
      notification('condition', { condition, cause } satisfies NoticeParams<'condition'>),
    );
  }

  #notify(news: FileNews): void {
    const { version, name, linkTimeoutMs } = this.#view.prop;
    this.#notifyAll(notification('prop.changed', { version, prop: name, linkTimeoutMs, ...news }));
  }
}

/** The errors come first: a list that is cut short must not hide them. */
function firstOf(findings: readonly Finding[]): FileFinding[] {
  const errors = findings.filter(({ severity }) => severity === 'error');
  const others = findings.filter(({ severity }) => severity !== 'error');
  const first = findingInfos([...errors, ...others].slice(0, MOST));
  return first.map(({ code: _code, ...finding }) => finding);
}

function shortened(changed: readonly string[]): string[] {
  if (changed.length <= MOST) return [...changed];
  return [...changed.slice(0, MOST - 1), `and ${changed.length - MOST + 1} more`];
}
