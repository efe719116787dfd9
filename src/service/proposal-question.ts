import type { Params } from '../api/methods.ts';

/** What is asked of the planner's thread about proposals: a new prop, its wiring, what to buy. */
export type ProposalQuestion =
  | ({ about: 'ask' } & Params<'proposal.ask'>)
  | ({ about: 'proposal'; file: string } & Params<'proposal.prop'>)
  | ({ about: 'loom'; text: string; file: string; version: string } & Params<'proposal.loom'>)
  | { about: 'shopping'; text: string; file: string };

const ABOUT: ReadonlySet<string> = new Set<ProposalQuestion['about']>([
  ...(['ask', 'proposal', 'loom', 'shopping'] as const),
]);

/** Whether the planner is asked about a proposal. */
export function isProposalQuestion(question: { about: string }): question is ProposalQuestion {
  return ABOUT.has(question.about);
}
