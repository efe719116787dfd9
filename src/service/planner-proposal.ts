import type { Params, Result } from '../api/methods.ts';
import { edited } from '../prop/file/edit.ts';
import { didYouMean } from '../prop/finding.ts';
import { findingInfos } from '../prop/finding-info.ts';
import type { Loaded } from '../prop/load.ts';
import { readAnswers } from '../proposal/answers.ts';
import { choices } from '../proposal/choices.ts';
import { interview } from '../proposal/interview.ts';
import { type Proposal, propose, TooMuch } from '../proposal/propose.ts';
import { shoppingCsv, shoppingList } from '../proposal/shopping.ts';
import { USUAL_LENGTH_M } from '../proposal/usual-length.ts';
import { wholeProposal } from '../proposal/whole.ts';
import { proposeWiring } from '../proposal/wiring.ts';
import { Refusal } from '../shared/errors.ts';
import { refuseFaulty } from './faulty.ts';
import type { Asked, PropSource } from './planner-question.ts';

/** What the planner's thread answers about proposals. */

/** @throws Refusal */
export function proposalAnswer(
  question: Asked<'ask' | 'proposal' | 'loom' | 'shopping'>,
  read: (source: PropSource) => Loaded,
): object {
  switch (question.about) {
    case 'ask':
      return nextQuestion(question);
    case 'proposal':
      return proposed(question);
    case 'loom':
      return wiring(question, read(question));
    case 'shopping': {
      const loaded = read(question);
      const items = shoppingList(loaded.prop ?? refuseFaulty(loaded));
      return { items, csv: shoppingCsv(items) } satisfies Result<'proposal.shopping'>;
    }
  }
}

function nextQuestion({ given }: Params<'proposal.ask'>) {
  const { question, answers, wrong } = interview(new Map(Object.entries(given)));
  return { question: question ?? null, answers, ...(wrong && { wrong }), choices: choices() };
}

function proposed({
  answers: raw,
  changes,
  file,
}: Params<'proposal.prop'> & { file: string }): Result<'proposal.prop'> {
  const read = readAnswers(changes ? { ...raw, changes } : raw);
  if ('wrong' in read) return { wrong: read.wrong, proposal: null };
  let proposal: Proposal;
  try {
    proposal = propose(read.answers);
  } catch (error) {
    if (!(error instanceof TooMuch)) throw error;
    return { wrong: [error.message], proposal: null };
  }
  const { loaded, added, left } = wholeProposal(proposal, read.answers.wiring, file);
  const { decisions, cautions, problems, lengthsM, supplies } = proposal;
  return {
    wrong: [],
    proposal: {
      text: loaded.text,
      findings: findingInfos(loaded.findings),
      ...{ decisions, cautions, problems, added, left, lengthsM },
      supplies: supplies
        .filter(({ branches }) => branches.length > 0)
        .map(({ id, volts, amps, toBuy }) => ({ id, volts, amps, toBuy })),
    } as Result<'proposal.prop'>['proposal'],
  };
}

function wiring(
  { version, lengthM = USUAL_LENGTH_M, lengthsM = {}, leaveOut = [] }: Asked<'loom'>,
  loaded: Loaded,
) {
  const prop = loaded.prop ?? refuseFaulty(loaded);
  const known = Object.keys(prop.channels);
  const strange = Object.keys(lengthsM).find((name) => !Object.hasOwn(prop.channels, name));
  if (strange !== undefined)
    throw new Refusal(
      'channel.unknown',
      `there is no channel ${strange}; ${didYouMean(strange, known)}`,
      { channel: strange },
    );
  const { edits, added, left } = proposeWiring(prop, loaded.raw, { lengthM, lengthsM, leaveOut });
  const next = edited(loaded, edits);
  return { version, edits, added, left, findings: findingInfos(next.findings) };
}
