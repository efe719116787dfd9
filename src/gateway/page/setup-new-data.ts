import { batch, signal } from '@preact/signals';
import { fitsFrame } from '../../api/frame.ts';
import type { Result } from '../../api/methods.ts';
import { browserKept, readKept } from './kept.ts';
import {
  answersOf,
  type Choices,
  type Draft,
  EMPTY,
  FIRST,
  type List,
  nextKey,
  readDraft,
} from './setup-new-draft.ts';
import { ask, write } from './store.ts';

/** What the section "New prop" knows: it lasts while the page does, and the draft longer. */

const KEY = 'sinew-new-prop';

export type Proposed = NonNullable<Result<'proposal.prop'>['proposal']>;

export const draft = signal<Draft>(readDraft(readKept(browserKept.getItem(KEY))) ?? EMPTY);
/** Undefined until the daemon has told it. */
export const choices = signal<Choices | undefined>(undefined);
/** What is proposed, and for which draft. */
export const proposed = signal<{ for: Draft; is: Proposed; version: string } | undefined>(
  undefined,
);
/** What is wrong with the answers, as the daemon says it. */
export const wrong = signal<readonly string[]>([]);
/** Being worked out. */
export const working = signal(false);
/** The wiring is not in the text: together they are too large to send. */
export const withoutWiring = signal(false);
/** What was put to use, and that it waits where it does. */
export const used = signal<{ pending: boolean } | undefined>(undefined);

function keep(next: Draft): void {
  draft.value = next;
  browserKept.setItem(KEY, JSON.stringify(next));
}

/** Changes the draft, and keeps it in this browser. */
export function change(some: Partial<Draft>): void {
  used.value = undefined;
  keep({ ...draft.value, ...some });
}

/** Begins with nothing filled in. */
export function startOver(): void {
  batch(() => {
    draft.value = EMPTY;
    proposed.value = undefined;
    wrong.value = [];
    used.value = undefined;
  });
  browserKept.removeItem(KEY);
}

/** Adds a line to one of the lists. @returns its key */
export function addThing(list: List): number {
  const { things } = draft.value;
  const key = nextKey(draft.value);
  change({ things: { ...things, [list]: [...things[list], { key, fields: FIRST[list] }] } });
  return key;
}

/** Changes fields of a line. */
export function changeThing(list: List, key: number, fields: Record<string, string>): void {
  const { things } = draft.value;
  const next = things[list].map((one) =>
    one.key === key ? { key, fields: { ...one.fields, ...fields } } : one,
  );
  change({ things: { ...things, [list]: next } });
}

/** Takes a line out of its list. */
export function removeThing(list: List, key: number): void {
  const { things } = draft.value;
  change({ things: { ...things, [list]: things[list].filter((one) => one.key !== key) } });
}

/** Reads what may be chosen. */
export async function loadChoices(): Promise<void> {
  if (choices.peek()) return;
  const answer = await ask('proposal.ask', { given: {} });
  if (answer) choices.value = answer.choices;
}

/** Asks for the proposal; one for the latest draft where it changes meanwhile. */
export async function propose(): Promise<boolean> {
  const all = choices.peek();
  if (!all || working.peek()) return false;
  working.value = true;
  try {
    for (;;) {
      const asked = draft.peek();
      const { changes } = asked;
      const file = await ask('prop.read', {});
      if (!file) return false;
      const answers = answersOf(asked, all);
      let answer = await ask('proposal.prop', { answers, changes });
      const large = answer?.proposal ? !fitsFrame(answer.proposal.text) : false;
      if (large)
        answer = await ask('proposal.prop', { answers: answersOf(asked, all, false), changes });
      if (!answer) return false;
      const { proposal, wrong: found } = answer;
      batch(() => {
        wrong.value = found;
        withoutWiring.value = large;
        if (proposal) proposed.value = { for: asked, is: proposal, version: file.version };
      });
      if (draft.peek() === asked || !proposal) return proposal !== null;
    }
  } finally {
    working.value = false;
  }
}

/** Changes a decision, or takes the change back; the rest is proposed again for it. */
export async function decide(id: string, value: string | undefined): Promise<void> {
  const { [id]: _, ...others } = draft.value.changes;
  change({ changes: value === undefined ? others : { ...others, [id]: value } });
  await propose();
}

/** Makes the proposal the prop file in use. */
export async function useProposal(): Promise<void> {
  const now = proposed.peek();
  if (!now) return;
  const { text } = now.is;
  const result = await write('the new prop', 'prop.apply', { text, version: now.version });
  if (result) used.value = result;
}
