import { budgetVerb } from './budget.ts';
import { checkVerb } from './check.ts';
import { loomVerb } from './loom.ts';
import { partsVerb } from './parts.ts';
import { rehearseVerb } from './rehearse.ts';

/** Verbs that read a prop file and need no daemon. */
export const fileVerbs = [checkVerb, loomVerb, budgetVerb, rehearseVerb, partsVerb];
