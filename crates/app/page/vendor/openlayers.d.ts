// What `cargo xtask vendor` bundles, as its own sources describe it.
export * from '../../../../web/openlayers.js';
