/**
 * Cable from the board to a channel, where nobody says otherwise (m). In a file of its own, so that the
 * command line starts without the rest.
 */
export const USUAL_LENGTH_M = 0.5;
