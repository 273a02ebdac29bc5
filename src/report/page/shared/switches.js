'use strict';
// Units, light and dark, print: the switches that every page has.

function isDark() {
  const chosen = document.documentElement.dataset.theme;
  return chosen ? chosen === 'dark' : matchMedia('(prefers-color-scheme: dark)').matches;
}

function labelTheme() {
  byId('switch-theme').textContent = isDark() ? 'Light' : 'Dark';
  byId('switch-theme').setAttribute('aria-pressed', String(isDark()));
}

function bindSwitches() {
  byId('switch-units').addEventListener('click', () => {
    switchUnits();
    byId('switch-units').setAttribute('aria-pressed', String(shownUnits === 'si'));
    byId('switch-units').textContent = shownUnits === 'si' ? 'Trade units' : 'SI units';
    tell('units');
  });
  byId('switch-theme').addEventListener('click', () => {
    document.documentElement.dataset.theme = isDark() ? 'light' : 'dark';
    labelTheme();
    tell('theme');
  });
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => {
    labelTheme();
    tell('theme');
  });
  byId('print').addEventListener('click', () => print());
  labelTheme();
}
