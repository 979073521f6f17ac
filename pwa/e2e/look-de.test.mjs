/** look.test.mjs in German. */
process.env.LOOK_LANGUAGE = 'de';
await import('./look.test.mjs');
