import { edited } from '../prop/file/edit.ts';
import { type Loaded, parseProp } from '../prop/load.ts';
import type { Proposal } from './propose.ts';
import { USUAL_LENGTH_M } from './usual-length.ts';
import { proposeWiring, type WiringProposal } from './wiring.ts';

/** The file of a proposal with its wiring, where the maker wants that, checked. */
export interface WholeProposal {
  /** The file that is to be written. */
  loaded: Loaded;
  added: WiringProposal['added'];
  left: WiringProposal['left'];
}

/**
 * The whole proposal for a prop.
 * @param wiring whether the maker wants it
 * @param file what its findings call it
 */
export function wholeProposal(
  { text, lengthsM }: Pick<Proposal, 'text' | 'lengthsM'>,
  wiring: boolean,
  file: string,
): WholeProposal {
  const loaded = parseProp(text, file);
  if (!loaded.prop || !wiring) return { loaded, added: [], left: [] };
  // What is not a channel, such as a stop button, has the usual length.
  const wishes = { lengthM: USUAL_LENGTH_M, lengthsM };
  const { edits, added, left } = proposeWiring(loaded.prop, loaded.raw, wishes);
  return { loaded: edited(loaded, edits), added, left };
}
