/** `npm run test:slow` asks for everything; `npm test` runs the quick half. */
export const LONG = process.env.SINEW_BOARD === 'long';
