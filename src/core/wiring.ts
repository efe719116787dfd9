export { findWires } from '../service/wiring.ts';
