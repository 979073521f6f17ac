/** look.test.mjs in Spanish. */
process.env.LOOK_LANGUAGE = 'es';
await import('./look.test.mjs');
