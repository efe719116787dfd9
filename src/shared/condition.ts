/** The conditions of a whole prop; core/condition.ts has what leads from one to another. */
export const CONDITIONS = ['parked', 'waking', 'live', 'parking', 'stopped', 'faulted'] as const;
export type Condition = (typeof CONDITIONS)[number];
