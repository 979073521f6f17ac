/** Opens the data, then shows the first screen. */
import { mount } from 'svelte';
import App from './App.svelte';
import { app } from './app';
import { fetchLanguage } from './words';

const target = document.getElementById('app');
if (target === null) throw new Error('index.html has no element with the id "app"');
await app.start();
await fetchLanguage(app.settings.language);
mount(App, { target });
// For the browser tests, and for anybody who wants to act from the console: /?by-hand
if (new URLSearchParams(location.search).has('by-hand')) Object.assign(globalThis, { brimlineTest: app });
