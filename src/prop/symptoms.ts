/** What may be wrong with a channel of any kind. */
export const SYMPTOMS = ['dead', 'buzzing', 'wrong-way', 'dim', 'weak', 'stays-on'] as const;
export type Symptom = (typeof SYMPTOMS)[number];
