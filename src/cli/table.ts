import { backupVerb } from './backup.ts';
import { bookVerbs } from './book.ts';
import { doctorVerb } from './doctor.ts';
import { explainVerb } from './explain.ts';
import { fileVerbs } from './files.ts';
import { followVerbs } from './follow.ts';
import { journalVerbs } from './journal.ts';
import { propVerbs } from './prop-verbs.ts';
import { protractorVerb } from './protractor.ts';
import { senseVerbs } from './senses-text.ts';
import { showVerb } from './show.ts';
import { soundVerbs } from './sound.ts';
import { takeVerb } from './take.ts';
import { tokenVerbs } from './token.ts';
import type { Verb } from './verb.ts';
import { benchVerbs, conditionVerbs, lookVerbs, motionVerbs } from './verbs.ts';
import { wearVerb } from './wear.ts';
import { whyVerb } from './why.ts';

/** Every verb but `session`, which is made of them. In the order of the help text. */
export const VERBS: readonly Verb[] = [
  ...motionVerbs,
  ...benchVerbs,
  ...conditionVerbs,
  ...lookVerbs,
  ...followVerbs,
  ...journalVerbs,
  whyVerb,
  wearVerb,
  ...senseVerbs,
  ...propVerbs,
  ...soundVerbs,
  ...fileVerbs,
  explainVerb,
  protractorVerb,
  takeVerb,
  showVerb,
  ...bookVerbs,
  backupVerb,
  ...tokenVerbs,
  doctorVerb,
];
