/** The name of anything in a prop file. */
export const NAME = /^[A-Za-z][A-Za-z0-9_-]{0,63}$/;
