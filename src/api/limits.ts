/** What one session may ask of the gateway. Past any of these, that session alone is closed. */

/** Largest text frame that is read (bytes). */
export const FRAME_LIMIT_BYTES = 64 * 1024;
/** Up to this size (bytes) an oversized frame still gets an answer; past it `ws` closes by itself. */
export const FRAME_HARD_LIMIT_BYTES = 1024 * 1024;
/** Largest frame (bytes) that is parsed for its id alone, once a session asks too much. */
export const REFUSED_PARSE_LIMIT_BYTES = 4 * 1024;
/** Requests in one batch. */
export const BATCH_LIMIT = 100;
/** `session.open` must come within this time of connecting (ms). */
export const OPEN_WITHIN_MS = 3000;
/** Bytes waiting for a session that does not read. */
export const BUFFER_LIMIT_BYTES = 1024 * 1024;
/** Calls of one session that the core has not answered yet. */
export const PENDING_LIMIT = 100;

/** Token bucket for requests: so many per second for ever, so many at once. */
export const REQUESTS_PER_S = 1000;
export const REQUESTS_BURST = 2000;
/** A session that collects this many refusals within the window is closed as a flood. */
export const FLOOD_REFUSALS = 2000;
export const FLOOD_WINDOW_MS = 10_000;

/** Pings per link timeout: one more than the four that are promised, as timers come late. */
export const PINGS_PER_TIMEOUT = 5;
/** A session is dropped after silence of the link timeout, but not before this (ms). */
export const MIN_SILENCE_MS = 5000;
/** A wrong token is answered after this time (ms), to slow down guessing. */
export const WRONG_TOKEN_DELAY_MS = 200;
/** Time for the other end to finish a closing handshake (ms). */
export const CLOSE_GRACE_MS = 1000;

/** OSC messages that are passed on: so many per second for ever, so many at once. */
export const OSC_PER_S = 20;
export const OSC_BURST = 40;
/** OSC values that lead servos are passed on no more often than this (ms): servos get 50 pulses a second. */
export const OSC_PERFORM_MS = 20;

/** Levels of a lighting desk are passed on no more often than this (ms), and so often while they stay (ms). */
export const E131_PASS_MS = 40;
export const E131_REPEAT_MS = 120;
/** A source of E1.31 that is silent for so long is lost (ms): ANSI E1.31, network data loss timeout. */
export const E131_LOST_MS = 2500;
/**
 * A servo is led no longer after this silence (ms): a source whose levels stay sends every 800 to 1000 ms
 * (ANSI E1.31, keep-alive; from memory).
 */
export const E131_LEAD_MS = 1250;
/** Sources of one universe that are followed at once; others wait until one of them is lost. */
export const E131_SOURCES = 16;

/** Period of the gateway's own sign of life to the core (ms). */
export const BEAT_MS = 50;
/** A core that shows no tick for this long counts as standing still (ms). */
export const CORE_STALL_MS = 1000;

/** Connections of one address that have not opened a session, those of this machine, and all together. */
export const WAITING = 24;
export const LOOPBACK_WAITING = 192;
export const WAITING_IN_ALL = 256;
/** All connections: room for those that wait, for every session, and for some that are being closed. */
export const CONNECTIONS = 512;
/** A request must be here within this time (ms), and its headers within the first. */
export const HEADERS_WITHIN_MS = 2000;
export const REQUEST_WITHIN_MS = 3000;
/** With every place taken, so many sessions more may open that can only stop and park. */
export const STOP_PLACES = 2;
/** A session keeps its reserved place at least this long (ms): a stop takes less. */
export const STOP_PLACE_MS = 1000;

/** Questions of one session that the prop-file service has not answered yet, and of all together. */
export const SESSION_ASKED_LIMIT = 16;
export const ASKED_LIMIT = 128;
/** A question that the service has not answered by then is given up (ms). */
export const ANSWER_WITHIN_MS = 120_000;

/** Lines for the log: so many per second for ever, so many at once. */
export const LINES_PER_S = 100;
export const LINES_BURST = 1000;
/** Lines that are kept while the service, which writes them, is away. */
export const LINES_KEPT = 200;

/** After a command is answered, what it did is waited for at most this long (ms); a tick takes 5. */
export const CATCH_UP_MS = 100;
export const CATCH_UP_EVERY_MS = 2;
/** A port for OSC or E1.31 that could not be had is tried again after this time (ms). */
export const DOOR_RETRY_MS = 5000;
