/** A field that the browser leaves as it is typed: for names, values and words to search for. */
export const AS_TYPED = { autocomplete: 'off', autocapitalize: 'off', spellcheck: false } as const;
