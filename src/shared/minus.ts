/** A number as text, with a true minus sign. */
export const withMinus = (value: unknown): string => String(value).replace('-', '−');
