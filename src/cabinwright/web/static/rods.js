// Straight rods between points, any number of them in one object. They are told anew in place, so that a scene lives on.
import { THREE } from "nicegui-scene";

const UP = new THREE.Vector3(0, 1, 0);

export default class Rods {
  create_mesh(rods, radius) {
    this.radius = radius;
    this.material = new THREE.MeshBasicMaterial({ transparent: true });
    this.geometry = new THREE.CylinderGeometry(1, 1, 1, 6, 1, true);
    this.group = new THREE.Group();
    this.set(rods);
    return this.group;
  }
  apply_material({ color, opacity }) {
    this.material.color.set(color);
    this.material.opacity = opacity;
  }
  set(rods) {
    for (const old of [...this.group.children]) {
      this.group.remove(old);
      old.dispose();
    }
    if (!rods.length) return;
    const mesh = new THREE.InstancedMesh(this.geometry, this.material, rods.length);
    mesh.frustumCulled = false;
    mesh.raycast = () => {}; // lines are looked at, not touched
    rods.forEach((rod, number) => {
      const start = new THREE.Vector3(rod[0], rod[1], rod[2]);
      const end = new THREE.Vector3(rod[3], rod[4], rod[5]);
      const way = end.clone().sub(start);
      const length = Math.max(way.length(), 1e-6);
      const turn = new THREE.Quaternion().setFromUnitVectors(UP, way.divideScalar(length));
      const size = new THREE.Vector3(this.radius, length, this.radius);
      mesh.setMatrixAt(number, new THREE.Matrix4().compose(start.add(end).multiplyScalar(0.5), turn, size));
    });
    this.group.add(mesh);
  }
}
