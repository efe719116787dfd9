import { factsOf } from '../boards/registry.ts';
import { freeName } from '../prop/name.ts';
import { CARD_REASON, SPEAKER, soundCard } from '../proposal/loudspeaker.ts';
import { type Draft, refuse } from './draft.ts';

/**
 * The board of a loudspeaker: the one that is asked for, or the first sound card; one is added where there is none.
 * @throws Refusal `change.refused` for a board that is not a sound card
 */
export function soundCardFor(draft: Draft, wish: string | undefined): string {
  const { boards } = draft.prop;
  const cards = Object.keys(boards).filter((one) => factsOf(boards[one]!).sounds);
  if (wish !== undefined) {
    draft.mustHave('board', 'boards', wish);
    if (!cards.includes(wish))
      refuse(
        `board ${wish} is not a sound card; ${cards.length > 0 ? `use ${cards.join(' or ')}` : 'leave it out, and one is added'}`,
        [`board ${wish}`],
      );
    draft.because('sound card', wish, 'you chose it');
    return wish;
  }
  const [first] = cards;
  if (first !== undefined) {
    draft.because('sound card', first, 'the prop has it already; several sounds play at once');
    return first;
  }
  const added = freeName(SPEAKER, new Set(Object.keys(boards)));
  draft.set(['boards', added], soundCard());
  draft.touch(`board ${added}, which is added`);
  draft.because('sound card', added, CARD_REASON);
  return added;
}
