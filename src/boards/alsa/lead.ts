/**
 * How far ahead of the device its stream is written (ms). The thread may be that late without a gap; a sound
 * that is to be heard at a time has to be asked for that much before.
 */
export const LEAD_MS = 120;
/** A tick of the core, or the message to the thread, may be that late (ms). */
export const SLACK_MS = 80;
