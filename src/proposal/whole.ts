import { edited } from '../prop/file/edit.ts';
import { type Loaded, parseProp } from '../prop/load.ts';
import type { Answers } from './answers.ts';
import { type Proposal, propose } from './propose.ts';
import { USUAL_LENGTH_M } from './usual-length.ts';
import { proposeWiring, type WiringProposal } from './wiring.ts';

/** A proposal with its wiring, where the maker wants that, checked: the file that is to be written. */
export interface WholeProposal {
  proposal: Proposal;
  loaded: Loaded;
  added: WiringProposal['added'];
  left: WiringProposal['left'];
}

/**
 * The whole proposal for a prop.
 * @param file what its findings call it
 * @throws TooMuch where no proposal is possible
 */
export function wholeProposal(answers: Answers, file: string): WholeProposal {
  const proposal = propose(answers);
  const loaded = parseProp(proposal.text, file);
  if (!loaded.prop || !answers.wiring) return { proposal, loaded, added: [], left: [] };
  // What is not a channel, such as a stop button, has the usual length.
  const wishes = { lengthM: USUAL_LENGTH_M, lengthsM: proposal.lengthsM };
  const { edits, added, left } = proposeWiring(loaded.prop, loaded.raw, wishes);
  return { proposal, loaded: edited(loaded, edits), added, left };
}
