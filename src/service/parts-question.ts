import type { Params } from '../api/methods.ts';

/** What is asked of the planner's thread about the parts of a prop. @param is the version of the text */
export type PartsQuestion = { text: string; file: string; is: string } & (
  | ({ about: 'plan' } & Params<'prop.plan'>)
  | { about: 'data' }
);

/** Whether the planner is asked about the parts of a prop. */
export function isPartsQuestion(question: { about: string }): question is PartsQuestion {
  return question.about === 'plan' || question.about === 'data';
}
