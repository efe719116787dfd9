/** Cable from the board to a channel, where nobody says otherwise (m). By itself: the command line needs no more to start. */
export const USUAL_LENGTH_M = 0.5;
