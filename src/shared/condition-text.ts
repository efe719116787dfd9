/** What to call a prop that rests in the condition `parked`, but not at its park position. */
export const NOT_PARKED = 'at rest, not parked';

/** The condition in words, with the reason where its name alone would mislead. */
export function conditionText({
  condition,
  notParked,
}: {
  condition: string;
  notParked?: string | undefined;
}): string {
  return notParked === undefined ? condition : `${NOT_PARKED}: ${notParked}`;
}
