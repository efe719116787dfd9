import { budgetVerb } from './budget.ts';
import { checkVerb } from './check.ts';
import { loomVerb } from './loom.ts';
import { newVerb } from './new.ts';
import { partsVerb } from './parts.ts';
import { rehearseVerb } from './rehearse.ts';
import { wireVerb } from './wire.ts';

/** Verbs that read or write a prop file and need no daemon. */
export const fileVerbs = [
  newVerb,
  checkVerb,
  wireVerb,
  loomVerb,
  budgetVerb,
  rehearseVerb,
  partsVerb,
];
