/** The name of anything in a prop file. */
export const NAME = /^[A-Za-z][A-Za-z0-9_-]{0,63}$/;

/** The most characters that say where in the prop a channel sits. */
export const MAX_PLACE = 40;
