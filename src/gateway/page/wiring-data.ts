import { batch, signal } from '@preact/signals';
import type { BoardInfo, LoomWire, MeasuringPart } from '../../api/types.ts';
import { sorted } from '../../prop/loom-words.ts';
import { ask } from './store.ts';

/** Every wire of the prop, and those that the search found. */
export const loom = signal<LoomWire[]>([]);
export const found = signal<LoomWire[]>([]);
/** Shunts and dividers that the search found. */
export const foundParts = signal<MeasuringPart[]>([]);
export const searchText = signal('');
/** What the last answer of the search was an answer to. */
export const answeredText = signal('');
export const boards = signal<Record<string, BoardInfo>>({});

/** Reads wires and boards from the daemon and repeats the search; a failed answer changes nothing. */
export async function loadWiring(): Promise<void> {
  const [all, list] = await Promise.all([
    ask('loom.find', { text: '' }),
    ask('board.list', {}),
    search(),
  ]);
  batch(() => {
    if (all) loom.value = all.wires;
    if (list) boards.value = list.boards;
  });
}

/** Asks for the wires that match the text of the search. */
export async function search(): Promise<void> {
  const text = searchText.value.trim();
  const answer = await ask('loom.find', { text });
  // Somebody may have typed on meanwhile; then the next answer counts.
  if (!answer || text !== searchText.value.trim()) return;
  batch(() => {
    found.value = sorted(answer.wires, ({ label }) => label);
    foundParts.value = answer.parts ?? [];
    answeredText.value = text;
  });
}
