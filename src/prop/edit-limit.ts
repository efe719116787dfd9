/** Edits of a prop file that one call may have: more is a file for an editor. */
export const MAX_EDITS = 1000;
